"""The page: reads the run log, draws it, and puts requests into the run's inbox. It computes nothing.

bench        the page itself, the only module that speaks to Streamlit
view         run log → what there is to show, in words       freshness   how old the newest word is
words        numbers and times as words                      steps       what to do now
sheet        what there is to show → HTML (sheet.css)        charts      traces → drawings
asking       requests, and what became of them
"""
