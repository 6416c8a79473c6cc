"""The record of device complications and the writing of it; knows nothing of analytics, casebook or deploy."""
