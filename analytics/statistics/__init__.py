"""Pure statistics, numbers in and frozen results out; nothing here knows Django, the record or a page.

Import the module that is wanted (`from analytics.statistics import proportions`): this package imports none
of them, so that a page pays only for what it uses.
"""
