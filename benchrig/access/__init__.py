"""What the attributes of a device ask for before they may be read, written or subscribed to.

rules.py     what a server must answer, by what is needed and how far the link is protected
subject.py   an attribute with what each operation on it must need
asking.py    the operations over one link, made so that they change nothing
trying.py    all subjects over one link after the other: what was expected, what was found
measuring.py what a device that is known to be good asks for
"""
