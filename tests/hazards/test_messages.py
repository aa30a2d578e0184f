"""Messages too large, or of no number, are refused; and none of ours waits for a connection."""

from __future__ import annotations

import pytest

from controller.connection import Address, Connection
from controller.errors import PayloadError
from controller.sensing.payload import decode_probe
from controller.sensing.strict_json import MAX_BYTES, parse_json, plain_number, text_of
from tests.engine_garden import small_garden

PROBE = small_garden().probes["south-20"]


@pytest.mark.hazard("B6")
@pytest.mark.parametrize("qos", [0, 1])
def test_what_is_ordered_without_a_connection_is_not_kept_to_be_sent_later(qos: int) -> None:
    connection = Connection(Address(host="127.0.0.1", port=1, client_id="c"), [])
    assert not connection.publish("plot/valve/south/lease", b"{}", qos=qos)
    client = connection._client
    assert (len(client._out_messages), len(client._out_packet)) == (0, 0)


@pytest.mark.hazard("B7")
@pytest.mark.parametrize(
    ("size", "taken"), [pytest.param(2048, True, id="whole"), pytest.param(2049, False, id="over")]
)
def test_a_message_over_2_kib_is_refused_whatever_it_says(size: int, taken: bool) -> None:
    assert MAX_BYTES == 2048
    payload = b"0.25" + b" " * (size - 4)
    if taken:
        assert decode_probe(payload, "p", PROBE, at_utc_s=0.0, mono_s=0.0).value == 0.25
        assert text_of(payload)
        return
    with pytest.raises(PayloadError, match="larger than 2048 bytes"):
        decode_probe(payload, "p", PROBE, at_utc_s=0.0, mono_s=0.0)


@pytest.mark.hazard("B7")
@pytest.mark.parametrize("text", ["1e999", "-1e999"])
def test_a_number_beyond_all_numbers_is_none(text: str) -> None:
    with pytest.raises(PayloadError, match="not finite"):
        plain_number(text.encode())
    with pytest.raises(PayloadError):
        parse_json(f'{{"temp_c": {text}}}'.encode())


@pytest.mark.hazard("B7")
@pytest.mark.parametrize(
    "text", ["NaN", "Infinity", '{"a": 1, "a": 2}', "[" * 9 + "]" * 9, '"\\ud800', "nul"]
)
def test_what_two_readers_could_read_in_two_ways_is_no_message(text: str) -> None:
    with pytest.raises(PayloadError):
        parse_json(text.encode())
