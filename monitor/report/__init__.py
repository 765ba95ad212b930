"""After a run: its log made into one page that a person reads, prints and keeps.

facts        run log to what there is to say      words      numbers and times as words
page         what there is to say to HTML         pieces     its tables and marks
traces       points to drawings in the page       write      the file
"""
