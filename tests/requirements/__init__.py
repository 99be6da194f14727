"""Requirements as their users write them, a file a subject."""

from tests.requirements import band, lock, meter, pump
from tests.requirements.kit import Requirement

ALL: list[Requirement] = [one for subject in (lock, meter, pump, band) for one in subject.REQUIREMENTS]
