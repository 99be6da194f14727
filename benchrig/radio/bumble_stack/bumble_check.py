"""What benchrig overrides and touches of bumble, member by member, held against the version that is installed.

One that is not as it is written here breaks benchrig, often in silence: a method that overrides nothing any more is
never called. So the version is pinned, and `benchrig ready` says what another one lacks.
"""

from __future__ import annotations

import dis
import inspect
import pkgutil
import re
from collections.abc import Iterator
from importlib import metadata
from typing import Any

# The version that all of this was written for.
WRITTEN_FOR = "0.0.236"
INSTALL = f"pip install bumble=={WRITTEN_FOR}"
_SHOWN = 3

OTHERS = "…"
# A member with its parameters, all of them unless … stands for others; or an owner and names that it has.
MEMBERS = """
host.Host(controller_source, controller_sink)
host.Host.on_packet(packet)
host.Host.on_hci_packet(packet)
host.Host.on_transport_lost()
host.Host.on_command_processed(event)
host.Host.on_hci_acl_data_packet(packet)
host.Host.on_hci_number_of_completed_packets_event(event)
host.Host.send_hci_packet(packet)
host.Host.on_l2cap_pdu(connection, cid, pdu)
host.Host.send_l2cap_pdu(connection_handle, cid, pdu)
host.Host._send_command(command, response_timeout)
host.Host.send_sync_command(command, response_timeout)
host.Host.send_async_command(command, check_status, response_timeout)
host.Host: connections emit hci_sink le_acl_packet_queue listeners local_version long_term_key_provider on pending_command pending_response ready snooper
  supported_le_features
host.DataPacketQueue.drain(connection_handle)
host.DataPacketQueue: max_in_flight max_packet_size once pending

controller.Connection(controller, handle, role, self_address, peer_address, link, transport, link_type, …)
controller.Connection.on_acl_pdu(pdu)
controller.Connection.on_hci_acl_data_packet(packet)
controller.Connection.send_ll_control_pdu(packet)
controller.Connection: assembler controller handle peer_address role
controller.Controller(name, host_source, host_sink, link, public_address)
controller.Controller._send_hci_command_status(status, op_code)
controller.Controller.on_packet(packet)
controller.Controller.send_hci_packet(packet)
controller.Controller.on_hci_command(command)
controller.Controller.on_hci_command_packet(command)
controller.Controller.on_hci_acl_data_packet(packet)
controller.Controller.on_hci_reset_command(_command)
controller.Controller.on_hci_disconnect_command(command)
controller.Controller.on_hci_le_add_device_to_filter_accept_list_command(_command)
controller.Controller.on_hci_le_clear_filter_accept_list_command(_command)
controller.Controller.on_hci_le_remove_device_from_filter_accept_list_command(_command)
controller.Controller.on_hci_le_connection_update_command(command)
controller.Controller.on_hci_le_create_connection_command(command)
controller.Controller.on_hci_le_create_connection_cancel_command(_command)
controller.Controller.on_hci_le_read_phy_command(command)
controller.Controller.on_hci_le_set_advertising_data_command(command)
controller.Controller.on_hci_le_set_advertising_enable_command(command)
controller.Controller.on_hci_le_set_advertising_parameters_command(command)
controller.Controller.on_hci_le_set_random_address_command(command)
controller.Controller.on_hci_le_set_scan_enable_command(command)
controller.Controller.on_hci_le_set_scan_response_data_command(command)
controller.Controller.on_link_acl_data(sender_address, transport, data)
controller.Controller.on_ll_control_pdu(sender_address, packet)
controller.Controller.on_le_disconnected(connection, reason)
controller.Controller.on_le_encryption_change(connection, status)
controller.Controller.on_le_long_term_key_reply(connection, request, long_term_key)
controller.Controller.allocate_connection_handle()
controller.Controller.find_le_connection_by_handle(handle)
controller.Controller: acl_data_packet_length default_phy event_mask filter_accept_list_size filter_duplicates host
  le_acl_data_packet_length le_connections le_event_mask le_features le_scan_enable le_scan_interval
  le_scan_own_address_type le_scan_type le_scan_window le_scanning_filter_policy link lmp_subversion lmp_version manufacturer_company_identifier name pending_le_connection
  public_address random_address suggested_max_tx_octets suggested_max_tx_time supported_commands
  supported_max_rx_octets supported_max_rx_time supported_max_tx_octets supported_max_tx_time

device.Device(name, address, config, host, …)
device.Device.connect_le(peer_address, connection_parameters_preferences, own_address_type, timeout, …)
device.Device.start_advertising(advertising_type, own_address_type, advertising_data, scan_response_data,
  advertising_interval_min, advertising_interval_max, …)
device.Device.start_scanning(active, own_address_type, filter_duplicates, …)
device.Device.stop_scanning(…)
device.Device.stop_advertising(…)
device.Device.lookup_connection(connection_handle)
device.Device.power_on()
device.Device.power_off()
device.Device.send_sync_command(command, …)
device.Device.on_pairing(connection, identity_address, keys, sc)
device.Device: EVENT_CONNECTION EVENT_CONNECTION_FAILURE address_resolver connections gatt_server host is_scanning keystore on public_address
  random_address smp_manager
device.DeviceConfiguration(name, address, gap_service_enabled, gatt_service_enabled, …)
device.Connection.disconnect(…)
device.Connection.get_rssi()
device.Connection.cancel_on_disconnection(awaitable)
device.Connection: EVENT_CONNECTION_ENCRYPTION_CHANGE EVENT_CONNECTION_ENCRYPTION_FAILURE
  EVENT_CONNECTION_ENCRYPTION_KEY_REFRESH EVENT_CONNECTION_PHY_UPDATE EVENT_DISCONNECTION EVENT_PAIRING EVENT_SECURITY_REQUEST att_mtu
  authenticated emit encryption_key_size gatt_client handle is_encrypted on parameters peer_address peer_resolvable_address remove_listener role sc
device.AdvertisingType: DIRECTED_CONNECTABLE_HIGH_DUTY DIRECTED_CONNECTABLE_LOW_DUTY UNDIRECTED UNDIRECTED_CONNECTABLE_SCANNABLE UNDIRECTED_SCANNABLE
device.ConnectionParametersPreferences(…)
device.LegacyAdvertiser(device, advertising_type, own_address_type, peer_address, auto_restart)

gatt_client.Client.send_request(request)
gatt_client.Client.send_command(command)
gatt_client.Client.request_mtu(mtu)
gatt_client.Client.on_att_handle_value_notification(notification)
gatt_client.Client.on_att_handle_value_indication(indication)
gatt_client.Client: indication_subscribers mtu notification_subscribers
gatt_server.Server(device)
gatt_server.Server.add_service(service)
gatt_server.Server.get_attribute(handle)
gatt_server.Server.on_gatt_pdu(bearer, att_pdu)
gatt_server.Server.on_disconnection(bearer)
gatt_server.Server.on_att_prepare_write_request(bearer, request)
gatt_server.Server.on_att_handle_value_confirmation(bearer, confirmation)
gatt_server.Server.send_response(bearer, response)
gatt_server.Server.read_cccd(bearer, characteristic)
gatt_server.Server.write_cccd(bearer, characteristic, value)
gatt_server.Server.send_gatt_pdu(bearer, pdu)
gatt_server.Server.indicate_subscriber(bearer, attribute, value, …)
gatt_server.Server: attributes device max_mtu pending_confirmations prepared_writes
gatt.Characteristic(uuid, properties, permissions, value, descriptors)
gatt.Characteristic: EVENT_SUBSCRIPTION Properties handle on properties uuid
gatt.CharacteristicValue(read, write)
gatt.Descriptor(attribute_type, permissions, value)
gatt.Service(uuid, characteristics, …)
att.Attribute.read_value(bearer)
att.Attribute.write_value(bearer, value)
att.Attribute: Permissions end_group_handle handle permissions type value
att.ATT_Error(error_code, att_handle, …)

core.UUID.from_16_bits(uuid_16, …)
core.UUID.to_pdu_bytes()
core.UUID: UUIDS uuid_bytes
crypto.EccKey.from_private_key_bytes(d_bytes)
crypto.e(key, data)
hci.Address(address, address_type)
hci.Address.generate_static_address()
hci.Address.to_string(with_type_qualifier)
hci.Address: ANY address_type is_public is_resolvable
hci.HCI_AclDataPacket(connection_handle, pb_flag, bc_flag, data_total_length, data)
hci.HCI_AclDataPacket.from_bytes(packet)
hci.HCI_Command.command_name(op_code)
hci.HCI_Command.from_bytes(packet)
hci.HCI_Command: op_code parameters
hci.HCI_Packet.from_bytes(packet)
hci.HCI_LE_Connection_Complete_Event(status, connection_handle, role, peer_address_type, peer_address,
  connection_interval, peripheral_latency, supervision_timeout, central_clock_accuracy)
hci.HCI_LE_Enhanced_Connection_Complete_Event(status, connection_handle, role, peer_address_type, peer_address,
  local_resolvable_private_address, peer_resolvable_private_address, connection_interval, peripheral_latency,
  supervision_timeout, central_clock_accuracy)
hci.HCI_LE_Connection_Update_Complete_Event(status, connection_handle, connection_interval, peripheral_latency,
  supervision_timeout)
hci.HCI_LE_Data_Length_Change_Event(connection_handle, max_tx_octets, max_tx_time, max_rx_octets, max_rx_time)
hci.HCI_LE_PHY_Update_Complete_Event(status, connection_handle, tx_phy, rx_phy)
hci.HCI_LE_Read_PHY_ReturnParameters(status, connection_handle, tx_phy, rx_phy)
hci.HCI_Number_Of_Completed_Packets_Event(connection_handles, num_completed_packets)
hci.HCI_Read_RSSI_ReturnParameters(status, handle, rssi)
hci.HCI_Read_Remote_Version_Information_Complete_Event(status, connection_handle, version, manufacturer_name,
  subversion)
hci.HCI_StatusAndConnectionHandleReturnParameters(status, connection_handle)
hci.HCI_StatusReturnParameters(status)
smp.AddressResolver(resolving_keys)
smp.AddressResolver.can_resolve_to(address)
smp.AddressResolver.resolve(address)
smp.AddressResolver: resolving_keys
smp.Manager(device, pairing_config_factory)
smp.Manager.on_pairing(session, identity_address, keys)
smp.Manager.on_session_end(session)
smp.Manager.on_smp_pdu(connection, pdu)
smp.Manager.on_smp_security_request_command(connection, request)
smp.Manager.send_command(connection, command)
smp.Manager: device session_proxy sessions
smp.OobContext(ecc_key, r)
smp.OobLegacyContext(tk)
smp.OobSharedData(c, r)
smp.SMP_Command.from_bytes(pdu)
smp.SMP_Pairing_Failed_Command(reason)
smp.Session(manager, connection, pairing_config, is_initiator)
smp.Session.check_expected_value(expected, received, error)
smp.Session.get_long_term_key(rand, ediv)
smp.Session.on_connection_encryption_change()
smp.Session.on_disconnection(_)
smp.Session.on_smp_pairing_public_key_command(command)
smp.Session.on_pairing_failure(reason)
smp.Session.on_smp_command(command)
smp.Session.on_smp_pairing_request_command_async(command)
smp.Session.pair()
smp.Session.prompt_user_for_numeric_comparison(code, next_steps)
smp.Session.send_command(command)
smp.Session.send_pairing_confirm_command()
smp.Session.send_pairing_failed(error)
smp.Session.send_pairing_random_command()
smp.Session.send_pairing_response_command()
smp.Session.start_encryption(key)
smp.PairingMethod: JUST_WORKS
smp.Session: bonding completed connection ecc_key ltk manager maximum_encryption_key_size oob_data_flag pairing_config
  pairing_method
  is_initiator passkey_step pairing_result nx peer_bd_addr pres r sc stk tk
smp.SMP_Pairing_Request_Command: auth_req io_capability maximum_encryption_key_size
smp.SMP_Pairing_Response_Command: auth_req io_capability maximum_encryption_key_size
pairing.PairingConfig(sc, mitm, bonding, delegate, identity_address_type, oob)
pairing.PairingConfig: AddressType OobConfig
pairing.PairingDelegate(io_capability, local_initiator_key_distribution, local_responder_key_distribution,
  maximum_encryption_key_size)
pairing.PairingDelegate.compare_numbers(number, digits)
pairing.PairingDelegate.display_number(number, digits)
pairing.PairingDelegate.generate_passkey()
pairing.PairingDelegate.get_number()
pairing.PairingDelegate.key_distribution_response(peer_initiator_key_distribution, peer_responder_key_distribution)
pairing.PairingDelegate: DEFAULT_KEY_DISTRIBUTION KeyDistribution local_initiator_key_distribution
  local_responder_key_distribution
keys.PairingKeys: irk ltk ltk_central
snoop.BtSnooper: TIMESTAMP_DELTA
snoop.Snooper.snoop(hci_packet, direction)
snoop.Snooper: DataLinkType Direction
transport.open_transport(name)
transport.common.Transport.close()
transport.common.Transport: sink source
transport.common: TransportLostError TransportSink TransportSource
host: color

att: ATT_ATTRIBUTE_NOT_FOUND_ERROR ATT_ATTRIBUTE_NOT_LONG_ERROR ATT_CID ATT_Error ATT_Error_Response
  ATT_Handle_Value_Notification ATT_Signed_Write_Command ATT_Read_Multiple_Request ATT_Read_Multiple_Response ATT_Read_Multiple_Variable_Request
  ATT_Read_Multiple_Variable_Response
  ATT_Execute_Write_Request ATT_Execute_Write_Response ATT_Find_By_Type_Value_Request
  ATT_Find_By_Type_Value_Response ATT_Find_Information_Request ATT_Find_Information_Response ATT_Handle_Value_Confirmation
  ATT_INVALID_OFFSET_ERROR ATT_PDU ATT_Prepare_Write_Request ATT_REQUEST_NOT_SUPPORTED_ERROR ATT_Read_Blob_Request
  ATT_Read_Blob_Response ATT_Read_By_Group_Type_Request ATT_Read_By_Group_Type_Response ATT_Read_By_Type_Request
  ATT_Read_By_Type_Response ATT_Read_Request ATT_Read_Response ATT_Write_Command ATT_Write_Request
  ATT_Write_Response Attribute Bearer ErrorCode Opcode
core: ProtocolError BaseBumbleError CommandTimeoutError ConnectionPHY TimeoutError
hci: HCI_LE_Enable_Encryption_Command
  Address AddressType HCI_AclDataPacket HCI_AsyncCommand HCI_COMMAND_COMPLETE_EVENT HCI_COMMAND_PACKET
  HCI_COMMAND_STATUS_PENDING HCI_Command HCI_Command_Complete_Event HCI_Command_Status_Event
  HCI_Connection_Complete_Event HCI_Disconnect_Command HCI_EVENT_PACKET HCI_Encryption_Key_Refresh_Complete_Event
  HCI_Error HCI_ErrorCode HCI_Event HCI_LE_Add_Device_To_Filter_Accept_List_Command
  HCI_LE_Clear_Filter_Accept_List_Command HCI_LE_Remove_Device_From_Filter_Accept_List_Command
  HCI_HOST_NUMBER_OF_COMPLETED_PACKETS_COMMAND HCI_LE_Connection_Complete_Event HCI_LE_Connection_Update_Command
  HCI_LE_Connection_Update_Complete_Event HCI_LE_Create_Connection_Cancel_Command HCI_LE_Create_Connection_Command
  HCI_LE_Data_Length_Change_Event HCI_LE_ENCRYPT_COMMAND HCI_LE_Enhanced_Connection_Complete_Event
  HCI_LE_PHY_Update_Complete_Event HCI_LE_Read_PHY_Command HCI_LE_Read_PHY_ReturnParameters
  HCI_LE_Set_Advertising_Data_Command HCI_LE_Set_Advertising_Enable_Command
  HCI_LE_Set_Advertising_Parameters_Command HCI_LE_Set_Data_Length_Command HCI_LE_Set_PHY_Command
  HCI_LE_Set_Random_Address_Command HCI_LE_Set_Scan_Enable_Command HCI_LE_Set_Scan_Response_Data_Command
  HCI_Number_Of_Completed_Packets_Event HCI_Packet HCI_READ_LOCAL_SUPPORTED_COMMANDS_COMMAND
  HCI_READ_REMOTE_VERSION_INFORMATION_COMMAND HCI_RESET_COMMAND HCI_Read_BD_ADDR_Command HCI_Read_RSSI_Command
  HCI_Read_RSSI_ReturnParameters HCI_Read_Remote_Version_Information_Command
  HCI_Read_Remote_Version_Information_Complete_Event HCI_Reset_Command HCI_StatusAndConnectionHandleReturnParameters
  HCI_StatusReturnParameters LeFeatureMask OwnAddressType Phy Role SpecificationVersion
ll: ControlPdu TerminateInd
smp: AuthReq CommandCode ErrorCode IoCapability Manager OobContext OobLegacyContext OobSharedData PairingMethod SMP_Command
  SMP_DEBUG_KEY_PUBLIC_X
  SMP_Pairing_Failed_Command SMP_Pairing_Random_Command SMP_Pairing_Request_Command SMP_Pairing_Response_Command SMP_Security_Request_Command
  Session
"""


def check_api() -> list[str]:
    """What the installed bumble lacks, or has otherwise, in sentences; [] when all is as it has to be."""
    return [wrong for entry in _entries() for wrong in _check(entry)]


def check_text(wrong: list[str]) -> str:
    """What `check_api` found wrong, on one line with the version."""
    more = f" and {len(wrong) - _SHOWN} more" if len(wrong) > _SHOWN else ""
    return f"{metadata.version('bumble')} is not what benchrig needs: {'; '.join(wrong[:_SHOWN])}{more}"


def _entries() -> list[str]:
    """Each entry on one line."""
    return [line for line in re.sub(r"\n  +", " ", MEMBERS).splitlines() if line]


def _check(entry: str) -> Iterator[str]:
    path, has_names, names = entry.partition(": ")
    if has_names:
        yield from (f"{path}.{name} is not there" for name in names.split() if not _has(_found(path), name))
        return
    path, _, parameters = entry.removesuffix(")").partition("(")
    member = _found(path)
    if member is None:
        yield f"{path} is not there"
    elif not _fits(found := _parameters(member), [name for name in parameters.split(", ") if name]):
        yield f"{path} takes ({', '.join(found)}), expected ({parameters})"


def _found(path: str) -> Any:
    """What stands at 'host.Host.on_packet'; None when it is not there."""
    try:
        return pkgutil.resolve_name(f"bumble.{path}")
    except (ImportError, AttributeError):
        return None


def _fits(found: list[str], wanted: list[str]) -> bool:
    return found == wanted or (OTHERS in wanted and set(wanted) <= {*found, OTHERS})


def _parameters(member: Any) -> list[str]:
    return [name for name in inspect.signature(member).parameters if name != "self"]


def _has(owner: Any, name: str) -> bool:
    """Whether an object of this class, or the module itself, has the attribute."""
    return hasattr(owner, name) or any(name in _given_to(kind) for kind in getattr(owner, "__mro__", ()))


def _given_to(kind: type) -> set[str]:
    """The attributes that an object has from its making: declared, or set there."""
    makers = (getattr(vars(kind).get(name), "__code__", None) for name in ("__init__", "__post_init__"))
    steps = (step for maker in makers if maker for step in dis.get_instructions(maker))
    return {*vars(kind).get("__annotations__", ()), *(step.argval for step in steps if step.opname == "STORE_ATTR")}
