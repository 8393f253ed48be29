"""Every language but English, a file each; `words.pot` holds the words to translate."""
