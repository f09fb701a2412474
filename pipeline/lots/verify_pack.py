"""Is this pack as it was exported? Needs only Python's standard library, version 3.8 or later.

    python3 verify.py                 the folder this script lies in
    python3 verify.py PACK.zip        a pack as a zip file
    python3 verify.py --manifest HEX  compare with the manifest hash printed on the certificate
    python3 verify.py --root SIZE:HEX compare with a journal root printed on a certificate
    python3 verify.py --key HEX       compare with the public key you know to be the plant's

It shows that nothing changed since the pack was exported, not that what was recorded is true. Someone who
makes a whole new pack can make its hashes fit: compare the manifest hash with the one on the certificate.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import struct
import sys
import zipfile
import zlib
from pathlib import Path
from typing import Any

FORMAT = "reelproof pack 1"
MANIFEST, MANIFEST_HASH, SIGNATURE = "manifest.json", "manifest.sha256", "manifest.sig"

# Ed25519 (RFC 8032, 5.1): field prime, group order, curve constant, base point.
_P = 2**255 - 19
_Q = 2**252 + 27742317777372353535851937790883648493
_D = -121665 * pow(121666, _P - 2, _P) % _P
_ROOT = pow(2, (_P - 1) // 4, _P)


def _x_of(y: int, sign: int) -> int | None:
    """The x of a point with that y and sign bit, or None."""
    square = (y * y - 1) * pow(_D * y * y + 1, _P - 2, _P) % _P
    x = pow(square, (_P + 3) // 8, _P)
    if (x * x - square) % _P:
        x = x * _ROOT % _P
    if (x * x - square) % _P or (x == 0 and sign):
        return None
    return _P - x if x % 2 != sign else x


def _point(raw: bytes) -> tuple[int, ...] | None:
    """A point from its 32 bytes, in extended coordinates, or None."""
    number = int.from_bytes(raw, "little")
    y, sign = number & ((1 << 255) - 1), number >> 255
    x = _x_of(y, sign) if y < _P else None
    return None if x is None else (x, y, 1, x * y % _P)


def _add(a: tuple[int, ...], b: tuple[int, ...]) -> tuple[int, ...]:
    left, right = (a[1] - a[0]) * (b[1] - b[0]), (a[1] + a[0]) * (b[1] + b[0])
    both, depth = 2 * a[3] * b[3] * _D, 2 * a[2] * b[2]
    e, f, g, h = right - left, depth - both, depth + both, right + left
    return e * f % _P, g * h % _P, f * g % _P, e * h % _P


def _times(number: int, point: tuple[int, ...]) -> tuple[int, ...]:
    total: tuple[int, ...] = (0, 1, 1, 0)
    while number:
        if number % 2:
            total = _add(total, point)
        point = _add(point, point)
        number //= 2
    return total


def signed(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether an Ed25519 signature is right (RFC 8032, 5.1.7)."""
    if len(public) != 32 or len(signature) != 64:
        return False
    key, commitment = _point(public), _point(signature[:32])
    scalar = int.from_bytes(signature[32:], "little")
    if key is None or commitment is None or scalar >= _Q:
        return False
    challenge = hashlib.sha512(signature[:32] + public + message).digest()
    base = _point((4 * pow(5, _P - 2, _P) % _P).to_bytes(32, "little"))
    left = _times(scalar, base or (0, 1, 1, 0))
    right = _add(commitment, _times(int.from_bytes(challenge, "little") % _Q, key))
    same_x = (left[0] * right[2] - right[0] * left[2]) % _P == 0
    return same_x and (left[1] * right[2] - right[1] * left[2]) % _P == 0


def canonical(value: Any) -> bytes:
    """Canonical JSON of text, whole numbers, lists and objects (RFC 8785, for names within ASCII)."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def included(record: bytes, entry_no: int, size: int, proof: list[bytes], root: bytes) -> bool:
    """Whether an entry stands in a journal of that size and root (RFC 9162, 2.1.3.2)."""
    here, last = entry_no - 1, size - 1
    if not 0 <= here <= last:
        return False
    value = hashlib.sha256(b"\x00" + record).digest()
    for other in proof:
        if last == 0:
            return False
        if here % 2 or here == last:
            value = hashlib.sha256(b"\x01" + other + value).digest()
            while not here % 2 and here:
                here, last = here // 2, last // 2
        else:
            value = hashlib.sha256(b"\x01" + value + other).digest()
        here, last = here // 2, last // 2
    return last == 0 and value == root


def consistent(earlier: int, later: int, earlier_root: bytes, later_root: bytes, proof: list[bytes]) -> bool:
    """Whether a journal of the later size and root begins with the earlier one (RFC 9162, 2.1.4.2)."""
    if not 0 < earlier <= later:
        return False
    if earlier == later:
        return not proof and earlier_root == later_root
    path = [earlier_root, *proof] if earlier & (earlier - 1) == 0 else list(proof)
    if not path:
        return False
    here, last = earlier - 1, later - 1
    while here % 2:
        here, last = here // 2, last // 2
    old = new = path[0]
    for other in path[1:]:
        if last == 0:
            return False
        if here % 2 or here == last:
            old = hashlib.sha256(b"\x01" + other + old).digest()
            new = hashlib.sha256(b"\x01" + other + new).digest()
            while not here % 2 and here:
                here, last = here // 2, last // 2
        else:
            new = hashlib.sha256(b"\x01" + new + other).digest()
        here, last = here // 2, last // 2
    return last == 0 and old == earlier_root and new == later_root


def zip_bytes(files: list[tuple[str, bytes]]) -> bytes:
    """A zip file of (name, content) pairs, stored, with every byte fixed by them."""
    body: list[bytes] = []
    directory: list[bytes] = []
    at = 0
    for name, content in files:
        raw = name.encode("ascii")
        # version, flags, method, time and date of 1 January 1980, checksum, sizes, lengths of name and extra
        common = struct.pack(
            "<HHHHHIIIHH", 20, 0, 0, 0, 33, zlib.crc32(content), len(content), len(content), len(raw), 0
        )
        body += [b"PK\x03\x04", common, raw, content]
        directory += [b"PK\x01\x02\x14\x03", common, struct.pack("<HHHII", 0, 0, 0, 0o644 << 16, at), raw]
        at += 30 + len(raw) + len(content)
    listing = b"".join(directory)
    end = struct.pack("<HHHHIIH", 0, 0, len(files), len(files), len(listing), at, 0)
    return b"".join([*body, listing, b"PK\x05\x06", end])


def _manifest_problems(files: dict[str, bytes]) -> tuple[list[str], Any]:
    """What is wrong with the manifest, its hash and its signature; and the manifest, or None."""
    raw = files.get(MANIFEST)
    if raw is None:
        return [f"{MANIFEST} is missing"], None
    digest = hashlib.sha256(raw).hexdigest()
    problems = []
    if files.get(MANIFEST_HASH) != f"{digest}  {MANIFEST}\n".encode():
        problems.append(f"{MANIFEST} or {MANIFEST_HASH} was changed: they do not belong together")
    try:
        manifest = json.loads(raw.decode())
        whole = canonical(manifest) == raw and manifest["format"] == FORMAT
        listed = [(one["path"], one["bytes"], one["sha256"]) for one in manifest["files"]]
        key = manifest["signed_by"]
        whole = whole and len(listed) == len({one[0] for one in listed})
    except (ValueError, KeyError, TypeError, RecursionError):
        whole = False
    if not whole:
        return [*problems, f"{MANIFEST} is not a manifest as {FORMAT} writes it"], None
    if key or SIGNATURE in files:
        try:
            fits = signed(bytes.fromhex(key), raw, bytes.fromhex(files[SIGNATURE].decode().strip()))
            fits = fits and files[SIGNATURE].decode() == files[SIGNATURE].decode().strip() + "\n"
            fits = fits and files[SIGNATURE] == files[SIGNATURE].lower()
        except (ValueError, KeyError, TypeError):
            fits = False
        if not fits:
            problems.append(f"{SIGNATURE} is not a signature of {MANIFEST} by the key it names")
    return problems, manifest


def _file_problems(files: dict[str, bytes], manifest: Any) -> list[str]:
    problems = []
    listed = {one["path"]: one for one in manifest["files"]}
    for name in sorted(listed):
        content = files.get(name)
        if content is None:
            problems.append(f"{name} is missing")
        elif len(content) != listed[name]["bytes"] or (
            hashlib.sha256(content).hexdigest() != listed[name]["sha256"]
        ):
            problems.append(f"{name} was changed")
    own = {MANIFEST, MANIFEST_HASH, SIGNATURE}
    problems += [f"{name} does not belong to the pack" for name in sorted(set(files) - set(listed) - own)]
    return problems


def _journal_problems(files: dict[str, bytes], manifest: Any) -> list[str]:
    """What is wrong with the journal entries and their proofs."""
    try:
        anchor = manifest["journal"]
        if anchor is None:
            return []
        root, size = bytes.fromhex(anchor["root"]), anchor["size"]
        problems = []
        entries = json.loads(files["journal.json"].decode())
        numbers = [one["entry_no"] for one in entries]
        if numbers != sorted(set(numbers)):
            problems.append("journal.json does not hold each entry once, in order")
        for one in entries:
            record = one["record"].encode()
            proof = [bytes.fromhex(other) for other in one["proof"]]
            number = one["entry_no"]
            if json.loads(record)["entry_no"] != number or not included(record, number, size, proof, root):
                problems.append(f"journal entry {number} is not proved by the journal's root")
        earlier = anchor["earlier"]
        if earlier is not None:
            before, steps = bytes.fromhex(earlier["root"]), [bytes.fromhex(one) for one in earlier["proof"]]
            if not consistent(earlier["size"], size, before, root, steps):
                problems.append(
                    f"the journal's root is not proved to follow from that of its first {earlier['size']} entries"
                )
        return problems
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        return ["journal.json cannot be read"]


def problems_of(files: dict[str, bytes]) -> list[str]:
    """Everything that is not as it was exported, as sentences; empty if the pack is whole.

    Args:
        files: path in the pack -> content.
    """
    problems, manifest = _manifest_problems(files)
    if manifest is None:
        return problems
    return problems + _file_problems(files, manifest) + _journal_problems(files, manifest)


def files_of_folder(folder: Path) -> dict[str, bytes]:
    """Path in the pack -> content, of a folder."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def files_of_zip(raw_zip: bytes, path: Path) -> tuple[dict[str, bytes], list[str]]:
    """Path in the pack -> content, of a zip file; and what is wrong with the zip file itself, to its last byte."""
    try:
        with zipfile.ZipFile(path) as archive:
            listed = archive.infolist()
            # Files of a pack are stored as they are, so all of them together are smaller than the zip file.
            if sum(info.file_size for info in listed) > len(raw_zip):
                return {}, [f"{path.name} says it unpacks to more than it holds, which a pack never does"]
            named = [(info.filename, archive.read(info)) for info in listed]
        same = zip_bytes(named) == raw_zip and [name for name, _ in named] == sorted(
            name for name, _ in named
        )
        folders = {name.partition("/")[0] for name, _ in named}
    except (
        zipfile.BadZipFile,
        zlib.error,
        ValueError,
        OSError,
        RuntimeError,
        NotImplementedError,
        EOFError,
    ) as why:
        return {}, [f"{path.name} cannot be read as a zip file: {why}"]
    if len(folders) != 1 or len({name for name, _ in named}) != len(named):
        return {}, [f"{path.name} does not hold one folder with each file once"]
    if not all(_is_plain(name) for name, _ in named):
        return {}, [f"{path.name} holds a file whose name no pack has"]
    files = {name.partition("/")[2]: content for name, content in named}
    return files, [] if same else [f"{path.name} was changed outside the files it holds"]


def _is_plain(name: str) -> bool:
    """Whether a path leads down from the folder it is unpacked into, and nowhere else."""
    parts = name.split("/")
    return len(parts) > 1 and not any(
        part in ("", ".", "..") or "\\" in part or ":" in part for part in parts
    )


def not_as_known(files: dict[str, bytes], manifest_hex: str, root: str, key_hex: str) -> list[str]:
    """In what a whole pack differs from what its reader knows from elsewhere.

    Args:
        files: path in the pack -> content, found whole.
        manifest_hex: manifest hash from the certificate, "" for none.
        root: journal size and root from a certificate, as ``SIZE:HEX``, "" for none.
        key_hex: public key known to be the plant's, "" for none.
    """
    raw = files[MANIFEST]
    manifest = json.loads(raw.decode())
    problems = []
    if manifest_hex and hashlib.sha256(raw).hexdigest() != manifest_hex.strip().lower():
        problems.append("the manifest is not the one whose hash was given: this is another pack")
    if key_hex and manifest["signed_by"] is None:
        problems.append("nobody signed it")
    elif key_hex and manifest["signed_by"] != key_hex.strip().lower():
        problems.append(f"it was signed by another key: {manifest['signed_by']}")
    if root:
        problems += _root_problems(manifest["journal"], root)
    return problems


def _root_problems(journal: Any, root: str) -> list[str]:
    size, _, digest = root.strip().lower().partition(":")
    known = [one for one in (journal, (journal or {}).get("earlier")) if one and str(one["size"]) == size]
    if not known:
        told = "no journal" if not journal else f"a journal of {journal['size']} entries"
        if journal and journal["earlier"]:
            told += f" that began as one of {journal['earlier']['size']}"
        return [
            f"it speaks of {told}, so it shows nothing about one of {size}: ask for a proof from that root on"
        ]
    if any(one["root"] != digest for one in known):
        return [f"the first {size} entries of its journal do not have the root that was given"]
    return []


def main(arguments: list[str] | None = None) -> int:
    """Verify a pack and say what was found; 0 if it is whole, 1 if not."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "pack", nargs="?", default=str(Path(__file__).resolve().parent), help="folder or zip file"
    )
    parser.add_argument(
        "--manifest", metavar="HEX", default="", help="manifest hash printed on the certificate"
    )
    parser.add_argument(
        "--root", metavar="SIZE:HEX", default="", help="journal size and root printed on a certificate"
    )
    parser.add_argument("--key", metavar="HEX", default="", help="public key of the plant, 64 digits")
    given = parser.parse_args(arguments)
    path = Path(given.pack)
    if not path.exists():
        sys.stderr.write(f"{path}: there is no such folder or file. Give the pack's folder or zip file.\n")
        return 2
    files, of_zip = (files_of_folder(path), []) if path.is_dir() else files_of_zip(path.read_bytes(), path)
    problems = (problems_of(files) if files or path.is_dir() else []) or of_zip
    if not problems:
        problems = not_as_known(files, given.manifest, given.root, given.key)
    if problems:
        sys.stdout.write("NOT AS EXPORTED\n" + "".join(f"  {one}\n" for one in problems))
        return 1
    sys.stdout.write(
        f"As exported. Manifest hash {hashlib.sha256(files[MANIFEST]).hexdigest()}\n"
        "Compare it with the hash on the certificate; that it was true when written is not shown here.\n"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
