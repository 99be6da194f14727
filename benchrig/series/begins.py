"""How a summary begins: known without anything that is heavy, for the way is made for it before all else."""

SUMMARY_BEGINS = b"## benchrig: "
