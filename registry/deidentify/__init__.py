"""What may leave the registry of a case: the policy of every field, and the view of a case that is built by it.

Imports run one way: rules < field_policy, column_policy, coarsening, dates, pseudonyms < case_view < reading.
"""
