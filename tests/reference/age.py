"""Opens a file that was encrypted with a passphrase, after the format's own text (https://c2sp.org/age): reads it on stdin,
takes the passphrase from the environment, and writes what was in it to stdout. Written for this test from that text, with
the primitives of a common library."""

import base64
import os
import sys

from cryptography.hazmat.primitives import hashes, hmac
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

PIECE = 64 * 1024 + 16


def unbase64(text):
    return base64.b64decode(text + b"=" * (-len(text) % 4), validate=True)


def derived(key, salt, info):
    return HKDF(algorithm=hashes.SHA256(), length=32, salt=salt, info=info).derive(key)


whole = sys.stdin.buffer.read()
version, stanza, body, mac = whole.split(b"\n", 4)[:4]
assert version == b"age-encryption.org/v1"
arrow, kind, salt, work = stanza.split(b" ")
assert (arrow, kind) == (b"->", b"scrypt")
salt = b"age-encryption.org/v1/scrypt" + unbase64(salt)
passphrase = os.environb[b"AGE_PASSPHRASE"]
wrap = Scrypt(salt=salt, length=32, n=2 ** int(work), r=8, p=1).derive(passphrase)
key = ChaCha20Poly1305(wrap).decrypt(bytes(12), unbase64(body), None)

assert mac.startswith(b"--- ")
header = whole[: whole.index(b"\n--- ") + 4]
check = hmac.HMAC(derived(key, b"", b"header"), hashes.SHA256())
check.update(header)
check.verify(unbase64(mac[4:]))

payload = whole[len(header) + len(mac) - 3 + 1 :]
stream = ChaCha20Poly1305(derived(key, payload[:16], b"payload"))
pieces = [payload[at : at + PIECE] for at in range(16, len(payload), PIECE)]
for number, piece in enumerate(pieces):
    last = number == len(pieces) - 1
    sys.stdout.buffer.write(stream.decrypt(number.to_bytes(11, "big") + bytes([last]), piece, None))
print("scrypt", int(work), file=sys.stderr)
