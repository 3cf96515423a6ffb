#!/usr/bin/env python3
"""Opens an update file with general-purpose libraries alone: cbor2, cryptography and pyhsslms.

A second opinion on what the Rust code writes. It knows the standards (CBOR, COSE, SUIT) and the profile's numbers, and
shares no code with the crate.

    open_update.py FILE PUBLIC_KEY_HEX[,PUBLIC_KEY_HEX] UNIT_KEY_ID UNIT_KEY_HEX IMAGE_OUT

The public keys are those of the file's signatures, in their order: 32 bytes for Ed25519, 60 for HSS-LMS.

Writes the image to IMAGE_OUT and what the manifest says, as JSON, to standard output.
"""
import hashlib
import json
import sys

import cbor2
import pyhsslms
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from cryptography.hazmat.primitives.keywrap import aes_key_unwrap


def sha256(data):
    return hashlib.sha256(data).digest()


def canonical(data):
    """Decodes one item, and checks that encoding it again gives the same bytes."""
    item = cbor2.loads(data)
    assert cbor2.dumps(item, canonical=True) == data, "not in deterministic encoding"
    return item


def pairs(sequence):
    return list(zip(sequence[::2], sequence[1::2]))


def digest_of(wrapped):
    algorithm, value = canonical(wrapped)
    assert algorithm == -16 and len(value) == 32
    return value


def check_signature(block, key, digest):
    """Checks one COSE_Sign1 with a detached payload, and gives the signer's name."""
    assert block.tag == 18
    protected, unprotected, detached, signature = block.value
    algorithm = {32: -19, 60: -46}[len(key)]
    assert canonical(protected) == {1: algorithm} and list(unprotected) == [4] and detached is None
    signed = cbor2.dumps(["Signature1", protected, b"", digest])
    if algorithm == -19:
        Ed25519PublicKey.from_public_bytes(key).verify(signature, signed)
    else:
        assert pyhsslms.HssPublicKey.deserialize(key).verify(signed, signature) is True
    return unprotected[4].decode()


def main(path, public_keys, key_id, key, image_out):
    with open(path, "rb") as source:
        raw = source.read()
    outer = cbor2.loads(raw)
    assert outer.tag == 107
    envelope = outer.value
    assert list(envelope) in ([2, 3, 23, "#fw"], [2, 3, "#fw"]), list(envelope)
    assert cbor2.dumps(outer) == raw, "the outermost level is not in shortest form"

    # The digest covers the manifest's byte string with its head; the signature covers the digest.
    auth = canonical(envelope[2])
    stated = digest_of(auth[0])
    assert sha256(cbor2.dumps(envelope[3])) == stated
    keys = [bytes.fromhex(key) for key in public_keys.split(",")]
    assert len(auth) == 1 + len(keys)
    signers = [check_signature(cbor2.loads(block), key, auth[0]) for block, key in zip(auth[1:], keys)]

    manifest = canonical(envelope[3])
    assert list(manifest) in ([1, 2, 3, 6, 7, 9, 20, 23], [1, 2, 3, 6, 7, 9, 20]) and manifest[1] == 1
    common = canonical(manifest[3])
    assert common[2] == [[b"\x00"], [b"\x01"]]
    shared = pairs(canonical(common[4]))
    assert [command for command, _ in shared] == [12, 20, 1, 2] and shared[0][1] == 0
    target = shared[1][1]
    install = pairs(canonical(manifest[20]))
    assert [command for command, _ in install] == [12, 20, 21, 3, 12, 20, 22, 3]
    assert install[0][1] == 1 and install[4][1] == 0
    source, copy = install[1][1], install[5][1]
    assert source[21] == "#fw" and copy[22] == 1
    assert pairs(canonical(manifest[7])) == [(12, 0), (3, 15)]
    assert pairs(canonical(manifest[9])) == [(12, 0), (23, 2)]

    payload = envelope["#fw"]
    assert len(payload) == source[14] == target[14]
    assert digest_of(source[3]) == sha256(payload)

    encrypt = cbor2.loads(copy[19])
    assert encrypt.tag == 96
    no_header, header, ciphertext, recipients = encrypt.value
    assert no_header == b"" and header[1] == -65532 and ciphertext is None
    mine = [r for r in recipients if r[1] == {1: -5, 4: key_id.encode()}]
    assert len(mine) == 1 and mine[0][0] == b""
    content_key = aes_key_unwrap(bytes.fromhex(key), mine[0][2])
    decryptor = Cipher(algorithms.AES(content_key), modes.CTR(header[5])).decryptor()
    image = decryptor.update(payload) + decryptor.finalize()
    assert sha256(image) == digest_of(target[3])

    text = None
    if 23 in envelope:
        assert manifest[23] == [-16, sha256(cbor2.dumps(envelope[23]))]
        text = {
            language: {
                "file": {str(k): v for k, v in described.items() if isinstance(k, int)},
                "slot": {str(k): v for k, v in described.get((b"\x00",), {}).items()},
            }
            for language, described in canonical(envelope[23]).items()
        }

    with open(image_out, "wb") as out:
        out.write(image)
    found = {
        "sequence": manifest[2],
        "version": canonical(manifest[6]),
        "vendor": target[1].hex(),
        "class": target[2].hex(),
        "signer": " and ".join(signers),
        "recipients": [r[1][4].decode() for r in recipients],
        "manifest_digest": stated.hex(),
        "text": text,
    }
    print(json.dumps(found, sort_keys=True))


if __name__ == "__main__":
    main(*sys.argv[1:])
