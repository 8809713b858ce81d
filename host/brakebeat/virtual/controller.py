"""bumble's controller with what clients of a real one rely on: scan responses, a way out of a connect."""

from __future__ import annotations

from typing import Any

from bumble import hci
from bumble.controller import Connection, Controller

CONNECTION_TIMEOUT = hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR


class RadioController(Controller):  # type: ignore[misc]
    """A simulated Bluetooth LE controller."""

    # A whole data channel packet: with bumble's 27 bytes a long notification costs many turns of the loop.
    le_acl_data_packet_length = 251
    # Boards advertise the old way, which is also the one in which a scan response belongs to what it answers.
    le_features = Controller.le_features & ~hci.LeFeatureMask.LE_EXTENDED_ADVERTISING

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        """Send to the host; a scan response is the advertiser's own (bumble repeats its advertising data)."""
        if isinstance(packet, hci.HCI_LE_Advertising_Report_Event):
            reports = [report for report in packet.reports if self._complete(report)]
            if not reports:
                return
            packet = hci.HCI_LE_Advertising_Report_Event(reports)
        super().send_hci_packet(packet)

    def _complete(self, report: hci.HCI_LE_Advertising_Report_Event.Report) -> bool:
        """Put the real scan response into a report; False where the advertiser is gone already."""
        if report.event_type != hci.HCI_LE_Advertising_Report_Event.EventType.SCAN_RSP:
            return True
        assert self.link is not None
        advertiser = self.link.find_le_controller(report.address)
        if advertiser is None:
            return False
        report.data = advertiser.le_legacy_advertiser.scan_response_data
        return True

    def on_hci_le_create_connection_cancel_command(
        self, _command: hci.HCI_LE_Create_Connection_Cancel_Command
    ) -> hci.HCI_StatusReturnParameters:
        """Give up connecting, as the specification has it (bumble's own leaves the attempt pending)."""
        if self.pending_le_connection:
            self.give_up_connecting()
        return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode.SUCCESS)

    def give_up_connecting(self) -> None:
        """End a pending connection attempt with "unknown connection identifier"."""
        pending: Any = self.pending_le_connection
        if pending is None:
            return
        self.pending_le_connection: Any = None
        self.send_hci_packet(
            hci.HCI_LE_Connection_Complete_Event(
                status=hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR,
                connection_handle=0,
                role=hci.Role.CENTRAL,
                peer_address_type=pending.peer_address.address_type,
                peer_address=pending.peer_address,
                connection_interval=0,
                peripheral_latency=0,
                supervision_timeout=0,
                central_clock_accuracy=0,
            )
        )

    def lose(self, connection: Connection) -> None:
        """The link broke: tell the host what it hears when the supervision timeout has passed."""
        if self.le_connections.get(connection.peer_address) is connection:
            self.on_le_disconnected(connection, CONNECTION_TIMEOUT)
