"""What a run was at a line. The runs of earlier histories were at none."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_TEXTS = ("purpose", "product", "slot", "person", "shift", "proof", "reference", "first_run")


def upgrade() -> None:
    for name in _TEXTS:
        op.add_column("runs", sa.Column(name, sa.Text(), nullable=False, server_default=""))
    op.add_column("runs", sa.Column("again", sa.Integer(), nullable=False, server_default="0"))
