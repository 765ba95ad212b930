"""The page: reads the run log, draws it, and puts requests into the run's inbox. It computes nothing.

bench        the page itself, the only module that speaks to Streamlit
view         run log to what there is to show, in words; made of
    source       the log's values            freshness    how old its newest word is
    alarms       cards, worst first          steps        what to do now
    amounts      where the sulfur is         readings     air, heat and drip
sheet        what there is to show, as HTML (sheet.css)
traces       run log to points               charts       points to drawings
closing      whether the flask may be opened   minding   what to mind in each phase
asking       requests, and what became of them
past         the page of past runs; made of pastlist (the list), stretch (one run), pastcharts (drawings)
words        numbers and times as words
sound        what the page sounds (sound.js)    stopped    what it says once it stands still (stopped.js)
benches      the page of many benches, in a server of its own: benchlist (their list in words), benchsheet (as HTML)
calibrate    the calibration page; made of calsheet (words, HTML), calfields (fields), calboard (live readings)
plan         the plan page; planning   a run file's text to its plan in words (these two use monitor.chemistry)
"""
