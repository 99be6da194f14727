"""The ways in which devices break, each as data: small, named, and the same whenever its name is said again.

fault.py        a fault, and the scene that it changes: devices, air, what befalls the bench
mutation.py     a changed device as a function of a specification
weakening.py    each way to ask for a little less security
"""
