"""The controller encrypts: new keys of an encrypted link are a refresh (Core Vol 4 Part E 7.7.39, Vol 6 Part B 5.1.3)."""

from __future__ import annotations

from typing import Any

from benchrig.radio.bumble_stack.bumble_api import hci, ll
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.controller.base import SUCCESS, Base


class Encrypts(Base):
    def on_le_encryption_change(self, connection: Any, status: int) -> None:
        """bumble's says every time that encryption has begun."""
        end: End = connection
        if status == SUCCESS and end.is_encrypted:
            self.send_hci_packet(
                hci.HCI_Encryption_Key_Refresh_Complete_Event(status=SUCCESS, connection_handle=end.handle)
            )
            return
        end.is_encrypted = end.is_encrypted or status == SUCCESS
        super().on_le_encryption_change(connection, status)

    def on_le_long_term_key_reply(self, connection: Any, request: Any, long_term_key: bytes | None) -> None:
        """Encryption that was paused for new keys does not go on without them: the link ends (Vol 6 Part B 5.1.3.2)."""
        end: End = connection
        if long_term_key is not None or not end.is_encrypted:
            super().on_le_long_term_key_reply(connection, request, long_term_key)
            return
        reason = hci.HCI_ErrorCode.PIN_OR_KEY_MISSING_ERROR
        end.send_ll_control_pdu(ll.TerminateInd(reason))
        self.on_le_disconnected(end, reason)
