"""The season report: pictures, tables, words, and the page that holds them."""
