"""The writers: every change of the record goes through here, one transaction each, and is journalled in it.

Imports run one way: change < names, writing < cases, imports, sites, devices, erasure, rewrapping.
"""
