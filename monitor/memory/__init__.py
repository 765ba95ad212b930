"""A long memory for a laboratory: run logs gathered into one folder of Parquet, and the questions asked of it.

`tables` says what is kept, `derive` works out what a log does not say in so many words, `source` reads a log,
`store` keeps the folder, `gather` fills it, `ask` questions it. `MEMORY.md` is for those who query it by themselves.
"""
