"""JSON as RFC 8259 has it, and nothing more lenient.

The `json` of the small interpreter lets `{"a" 1}` pass (tried on its desktop port), so that a
message that does not parse could open a valve there and nowhere else. This one refuses it, as it
refuses doubled keys and deep nesting. Numbers that are not whole, or have more than 15 digits, come
back as None: a node needs none of them.
"""

MOST_DEPTH = 6
MOST_DIGITS = 15

_SPACE = b" \t\n\r"
_PLAIN = {ord("b"): 8, ord("f"): 12, ord("n"): 10, ord("r"): 13, ord("t"): 9}
_WORDS = ((b"true", True), (b"false", False), (b"null", None))


def parse(data: bytes) -> object:
    """Read one document.

    Raises:
        ValueError: it is none.
    """
    value, at = _value(data, _skip(data, 0), 0)
    if _skip(data, at) != len(data):
        raise ValueError("something follows")
    return value


def _skip(data: bytes, at: int) -> int:
    while at < len(data) and data[at] in _SPACE:
        at += 1
    return at


def _byte(data: bytes, at: int) -> int:
    if at >= len(data):
        raise ValueError("ends too soon")
    return data[at]


def _value(data: bytes, at: int, depth: int) -> tuple:
    first = _byte(data, at)
    if depth > MOST_DEPTH:
        raise ValueError("too deep")
    if first == 0x22:
        return _text(data, at + 1)
    if first == 0x7B:
        return _object(data, at + 1, depth + 1)
    if first == 0x5B:
        return _array(data, at + 1, depth + 1)
    for word, value in _WORDS:
        if data[at : at + len(word)] == word:
            return value, at + len(word)
    return _number(data, at)


def _object(data: bytes, at: int, depth: int) -> tuple:
    found = {}
    at = _skip(data, at)
    if _byte(data, at) == 0x7D:
        return found, at + 1
    while True:
        if _byte(data, at) != 0x22:
            raise ValueError("a key is text")
        key, at = _text(data, at + 1)
        at = _skip(data, at)
        if key in found or _byte(data, at) != 0x3A:
            raise ValueError("a doubled key, or no colon")
        found[key], at = _value(data, _skip(data, at + 1), depth)
        at, more = _after(data, at, 0x7D)
        if not more:
            return found, at


def _array(data: bytes, at: int, depth: int) -> tuple:
    found = []
    at = _skip(data, at)
    if _byte(data, at) == 0x5D:
        return found, at + 1
    while True:
        value, at = _value(data, at, depth)
        found.append(value)
        at, more = _after(data, at, 0x5D)
        if not more:
            return found, at


def _after(data: bytes, at: int, end: int) -> tuple:
    """Step over what follows a member: where to go on, and whether one more comes."""
    at = _skip(data, at)
    sign = _byte(data, at)
    if sign == end:
        return at + 1, False
    if sign != 0x2C:
        raise ValueError("no comma")
    return _skip(data, at + 1), True


def _text(data: bytes, at: int) -> tuple:
    found = bytearray()
    while True:
        byte = _byte(data, at)
        at += 1
        if byte == 0x22:
            return bytes(found).decode(), at
        if byte < 0x20:
            raise ValueError("a control sign in text")
        if byte == 0x5C:
            at = _escape(data, at, found)
        else:
            found.append(byte)


def _escape(data: bytes, at: int, found: bytearray) -> int:
    sign = _byte(data, at)
    if sign in b'"\\/':
        found.append(sign)
    elif sign in _PLAIN:
        found.append(_PLAIN[sign])
    elif sign == 0x75:
        code = 0
        for digit in data[at + 1 : at + 5]:
            code = code * 16 + b"0123456789abcdef".index(bytes((digit | 0x20,)))
        if len(data) < at + 5:
            raise ValueError("ends too soon")
        half = 0xD800 <= code < 0xE000  # half of a pair: told as a stand-in, it matches nothing
        found.extend(chr(0xFFFD if half else code).encode())
        return at + 5
    else:
        raise ValueError("an unknown escape")
    return at + 1


def _digits(data: bytes, at: int) -> int:
    begin = at
    while at < len(data) and 0x30 <= data[at] <= 0x39:
        at += 1
    if at == begin:
        raise ValueError("no digit")
    return at


def _number(data: bytes, at: int) -> tuple:
    begin = at
    at += _byte(data, at) == 0x2D
    first = at
    at = _digits(data, at)
    if data[first] == 0x30 and at > first + 1:
        raise ValueError("a number does not begin with 0")
    whole = at - first <= MOST_DIGITS
    if at < len(data) and data[at] == 0x2E:
        whole, at = False, _digits(data, at + 1)
    if at < len(data) and data[at] in b"eE":
        at += 1
        at += at < len(data) and data[at] in b"+-"
        whole, at = False, _digits(data, at)
    return (int(data[begin:at]) if whole else None), at
