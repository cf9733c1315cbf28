"""Trouble codes: answers to UDS service 19 against udsoncan, code names against SAE J2012's bit layout."""

import random

import frames
from common import Table, ask
from udsoncan import Response
from udsoncan.services import ReadDTCInformation as Service

# Sub-functions that answer with codes and a status each.
LISTS = {
    0x02: "by status mask", 0x0A: "supported", 0x0B: "first failed", 0x0C: "first confirmed",
    0x0D: "last failed", 0x0E: "last confirmed", 0x0F: "mirror memory", 0x13: "emissions", 0x15: "permanent",
}

# Status bits 0, 1, 2, 3, 5 of ISO 14229-1: failed now, failed this cycle, pending, confirmed, failed since clear.
FAILED = 0b0010_1111


def name(code):
    """Five characters from the upper two bytes: letter, digit 0-3, three hexadecimal digits (SAE J2012)."""
    return "PCBU"[code >> 22] + f"{code >> 20 & 3}{code >> 16 & 15:X}{code >> 8 & 255:02X}"


def reference(payload, subfunction):
    response = Response.from_payload(payload)
    assert response.valid and response.positive
    data = Service.interpret_response(response, subfunction, tolerate_zero_padding=True, standard_version=2013)
    return data.service_data


def our_codes(answer):
    found = set()
    for code in answer["trouble_codes"]:
        found.add((code["code"], code["failure_type"], code["status"]))
    return found


def main():
    table = Table(
        "trouble codes",
        ["udsoncan reads the same answers to UDS service 19; can-isotp segments them into candump text",
         "names of codes: bit layout of SAE J2012 written down again",
         "names of negative responses: udsoncan"],
        ["udsoncan", "can-isotp"],
    )
    rng = random.Random(14229)
    jobs = []
    for subfunction, what in LISTS.items():
        for count in (0, 1, 2, 7, 60):
            link = frames.Link(*frames.normal(0x7E0, 0x7E8), padding=rng.choice([None, 0x00, 0xAA]))
            # Only one code in these answers.
            if subfunction in (0x0B, 0x0C, 0x0D, 0x0E):
                count = min(count, 1)
            codes = rng.sample(range(1, 1 << 24), count)
            payload = bytes([0x59, subfunction, 0xFF])
            for code in codes:
                payload += code.to_bytes(3) + bytes([rng.randrange(1, 256)])
            log = frames.Log()
            wire, _ = link.send(payload)
            log.frame(0x7E0, False, bytes([2, 0x19, subfunction]))
            log.frames(wire)
            jobs.append((f"19 {subfunction:02X} {what}, {count} codes", payload, subfunction, log.text()))
    answers = ask([{"ask": "recording", "text": text} for *_, text in jobs])
    for (what, payload, subfunction, _), answer in zip(jobs, answers):
        theirs = {(name(d.id), d.id & 0xFF, d.status.get_byte_as_int()) for d in reference(payload, subfunction).dtcs}
        # Without a bit of failed, pending or confirmed the module only lists a code that it could set; the
        # product leaves those out.
        theirs = {code for code in theirs if code[2] & FAILED}
        found = our_codes(answer)
        if found != theirs:
            print("   only here:", sorted(found - theirs), "only udsoncan:", sorted(theirs - found))
        table.same(what, found, theirs, show=False)

    log = frames.Log()
    expected = set()
    for number in (0x10, 0x11, 0x12, 0x13, 0x14, 0x21, 0x22, 0x24, 0x31, 0x33, 0x35, 0x36, 0x37, 0x7E, 0x7F,
                   *range(0x81, 0x8C), 0x8F, 0x90, 0x91, 0x92, 0x93):
        log.frame(0x7E0, False, bytes([3, 0x22, 0xF1, 0x90]))
        log.frame(0x7E8, False, bytes([3, 0x7F, 0x22, number]))
        expected.add(Response.Code.get_name(number).lower())
    [answer] = ask([{"ask": "recording", "text": log.text()}])
    said = " ".join(n["text"] for n in answer["notes"] if n["kind"] == "NegativeResponse").lower()
    for word in sorted(expected):
        table.same(f"negative response {word}", word in said, True, show=False)

    log = frames.Log()
    log.frame(0x7E0, False, bytes([2, 0x19, 0x0A]))
    for _ in range(3):
        log.frame(0x7E8, False, bytes([3, 0x7F, 0x19, 0x78]))
    log.frames(frames.Link(*frames.normal(0x7E0, 0x7E8)).send(bytes.fromhex("590AFF246300 2F".replace(" ", "")))[0])
    [answer] = ask([{"ask": "recording", "text": log.text()}])
    table.same("three times response pending, then the answer", answer["counts"]["pending_responses"], 3)
    table.same("the code that came after it", our_codes(answer), {("P2463", 0x00, 0x2F)})
    table.end()


if __name__ == "__main__":
    main()
