"""Raw notifications as a board packs them."""

import struct

from brakebeat.board.files import load_wire


def raw_message(sequence, lost, t_us, step, now_us=0):
    """One notification with these edges (none: a heartbeat at ``now_us``)."""
    first_us = int(t_us[0]) if len(t_us) else now_us
    head = struct.pack(load_wire().RAW_HEAD_FORMAT, sequence & 0xFFFF, lost & 0xFFFF, first_us & 0xFFFFFFFF)
    return head + encode_edges(t_us, step)


def encode_edges(t_us, step):
    """LEB128 varints of ``delta_us << 2 | step & 3``, the first delta being 0."""
    coded = bytearray()
    last_us = int(t_us[0]) if len(t_us) else 0
    for time_us, sense in zip(t_us, step, strict=True):
        value = (int(time_us) - last_us) << 2 | int(sense) & 3
        last_us = int(time_us)
        while value > 0x7F:
            coded.append(value & 0x7F | 0x80)
            value >>= 7
        coded.append(value)
    return bytes(coded)
