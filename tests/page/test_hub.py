"""States on their way to the pages."""

import asyncio
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.errors import InputError
from brakebeat.page.hub import Hub
from brakebeat.page.server import page


def data(message):
    return json.loads(message.partition("data: ")[2])


async def test_a_new_page_gets_the_state_and_then_each_change():
    state = {"n": 0}
    hub = Hub(lambda: dict(state), heartbeat_s=60)
    messages = hub.messages()
    assert data(await anext(messages)) == {"n": 0}
    state["n"] = 1
    hub.changed()
    assert data(await anext(messages)) == {"n": 1}
    waiting = asyncio.ensure_future(anext(messages, None))
    await asyncio.sleep(0)
    state["n"] = 2
    hub.changed()
    assert data(await waiting) == {"n": 2}
    hub.close()
    assert await anext(messages, None) is None


async def test_time_alone_brings_the_state_again():
    messages = Hub(lambda: {}, heartbeat_s=0.001).messages()
    assert [await anext(messages) for _ in range(3)] == ["id: 0\ndata: {}\n\n"] * 3


@given(st.lists(st.booleans(), max_size=30))
def test_a_slow_page_skips_but_ends_with_the_newest(reads):
    async def follow():
        state = {"n": 0}
        hub = Hub(lambda: dict(state), heartbeat_s=60)
        messages = hub.messages()
        seen = [data(await anext(messages))["n"]]
        for number, read in enumerate([*reads, True], 1):
            state["n"] = number
            hub.changed()
            if read:
                seen.append(data(await anext(messages))["n"])
        assert seen == sorted(set(seen))
        assert seen[-1] == len(reads) + 1

    asyncio.run(follow())


@given(st.text(max_size=60))
def test_no_name_can_break_out_of_its_message(name):
    async def first():
        return await anext(Hub(lambda: {"athlete": name}).messages())

    message = asyncio.run(first())
    assert data(message) == {"athlete": name}
    assert message.isascii()
    assert message.count("\n") == 3


async def test_a_port_that_is_taken_is_named():
    async with page(Hub(lambda: {}), port=0) as address:
        port = int(address.rstrip("/").rpartition(":")[2])
        with pytest.raises(InputError, match=f"--page-port {port}"):
            async with page(Hub(lambda: {}), port=port):
                pass


@pytest.mark.parametrize("host", ["no.such.host.invalid", "192.0.2.1"])
async def test_an_address_that_is_not_this_computers_is_no_matter_of_ports(host):
    # 192.0.2.0/24 is for documentation and nobody's own: RFC 5737.
    with pytest.raises(InputError, match="name an address of this computer"):
        async with page(Hub(lambda: {}), host=host, port=0):
            pass
