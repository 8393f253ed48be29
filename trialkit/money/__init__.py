"""From a gain and its error to money: did it pay, and how sure is that?"""
