"""The reading side of the record: lists and cases as plain data for pages; writes nothing and opens no page.

Direction of imports: `words` < `titles`, `facts` < `listing`, `one_case`; `filters` < `listing`; `words` <
`comparing` < `history`; `sealed` stands alone. Who may read what is decided by `access`, before anything here is asked.
"""
