"""Packs: whole in every form, every mutated byte found and named, verified without this program."""

import ast
import hashlib
import io
import os
import random
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import ReelproofError
from pipeline.lots import verify_pack
from pipeline.lots.journal import Anchor, Entry, anchor_of, next_entry, prove, prove_unchanged
from pipeline.lots.pack import PackContent, packed, verify_files, write_pack, zip_pack
from pipeline.lots.signing import public_key, sign
from tests.lots.zips import problems_of_zip
from tests.published.test_journal_vectors import SIGNATURES

START = datetime(2025, 3, 4, 6, 30, tzinfo=UTC)
KEY = bytes(range(32))
# More are tried with REELPROOF_MUTATIONS=10000 and up.
MUTATIONS = int(os.environ.get("REELPROOF_MUTATIONS", "600"))
FINDINGS = pl.DataFrame(
    {
        "finding_id": ["R1-F01", "R1-F02"],
        "from_m": [312.0, 700.1],
        "instruments": [["SP1", "WG1"], ["SP1"]],
        "found_utc": [START, START + timedelta(microseconds=5)],
    }
)


def content() -> PackContent:
    entries: list[Entry] = []
    for number in range(9):
        entries.append(
            next_entry(entries[-1] if entries else None, START, "load", f"R{number % 2}", {"n": number})
        )
    return PackContent(
        "Lot 2503-04",
        START,
        "reelproof 0.1.0",
        {"findings": FINDINGS},
        {"history.pdf": b"%PDF-1.7 invented"},
        prove(entries, [1, 3, 9]),
        anchor_of(entries),
    )


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("packs") / "lot-2503-04"
    write_pack(folder, packed(content(), KEY))
    zip_pack(folder, folder.with_suffix(".zip"))
    return folder


def test_a_pack_is_whole_as_folder_and_as_zip(pack: Path) -> None:
    assert verify_files(pack) == ()
    assert verify_files(pack.with_suffix(".zip")) == ()
    files = verify_pack.files_of_folder(pack)
    assert sorted(files) == [
        "README.txt",
        "data/findings.csv",
        "data/findings.parquet",
        "history.pdf",
        "journal.json",
        "manifest.json",
        "manifest.sha256",
        "manifest.sig",
        "verify.py",
    ]
    assert files["data/findings.csv"].decode() == (
        "finding_id,from_m,instruments,found_utc\n"
        "R1-F01,312.0,SP1; WG1,2025-03-04T06:30:00.000000Z\n"
        "R1-F02,700.1,SP1,2025-03-04T06:30:00.000005Z\n"
    )
    assert pl.read_parquet(io.BytesIO(files["data/findings.parquet"])).equals(FINDINGS)
    assert packed(content(), KEY)["manifest.json"] == files["manifest.json"]


def script(path: Path, *more: str) -> tuple[int, str]:
    """Run a pack's own script away from this program, isolated from every installed package."""
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-B", str(path / "verify.py"), *more],
        capture_output=True,
        text=True,
        check=False,
        cwd=path.parent,
    )
    return done.returncode, done.stdout + done.stderr


def test_the_script_in_the_pack_needs_only_the_standard_library(pack: Path, tmp_path: Path) -> None:
    copy = tmp_path / "elsewhere"
    shutil.copytree(pack, copy)
    digest = hashlib.sha256((copy / "manifest.json").read_bytes()).hexdigest()
    whole = (
        f"As exported. Manifest hash {digest}\n"
        "Compare it with the hash on the certificate; that it was true when written is not shown here.\n"
    )
    assert script(copy) == (0, whole)
    assert script(copy, str(pack.with_suffix(".zip")), "--manifest", digest.upper()) == (0, whole)
    assert script(copy, "--manifest", "ab" * 32) == (
        1,
        "NOT AS EXPORTED\n  the manifest is not the one whose hash was given: this is another pack\n",
    )
    assert script(copy, "nowhere.zip") == (
        2,
        "nowhere.zip: there is no such folder or file. Give the pack's folder or zip file.\n",
    )
    (copy / "history.pdf").write_bytes(b"%PDF-1.7 invemted")
    (copy / "data" / "more.csv").write_text("a\n")
    (copy / "README.txt").unlink()
    assert script(copy) == (
        1,
        (
            "NOT AS EXPORTED\n  README.txt is missing\n  history.pdf was changed\n"
            "  data/more.csv does not belong to the pack\n"
        ),
    )


def test_the_script_is_written_in_the_python_it_names() -> None:
    source = Path(verify_pack.__file__).read_text(encoding="utf-8")
    assert "version 3.8 or later" in source
    tree = ast.parse(source, feature_version=(3, 8))
    imported = {
        name.split(".")[0]
        for one in ast.walk(tree)
        for name in (
            [alias.name for alias in one.names]
            if isinstance(one, ast.Import)
            else [one.module or ""]
            if isinstance(one, ast.ImportFrom)
            else []
        )
    }
    assert imported <= sys.stdlib_module_names


def mutations(raw: bytes, count: int, rng: random.Random) -> list[bytes]:
    """The bytes with one byte changed, dropped or doubled, at places spread over the whole length."""
    made = []
    for number in range(count):
        place = (number * len(raw)) // count + rng.randrange(max(len(raw) // count, 1))
        place = min(place, len(raw) - 1)
        kind = number % 4
        if kind == 0:
            made.append(raw[:place] + raw[place + 1 :])
        elif kind == 1:
            made.append(raw[: place + 1] + raw[place:])
        else:
            other = raw[place] ^ (1 << rng.randrange(8))
            made.append(raw[:place] + bytes([other]) + raw[place + 1 :])
    return [one for one in made if one != raw]


def test_every_mutation_of_every_file_is_found_and_named(pack: Path) -> None:
    rng = random.Random(3)
    files = packed(content())
    tried = 0
    for name, raw in files.items():
        for changed in mutations(raw, MUTATIONS // len(files), rng):
            problems = verify_pack.problems_of({**files, name: changed})
            assert problems, f"{name} was changed and not found"
            assert any(name in one for one in problems), f"{name}: {problems}"
            tried += 1
    assert tried > 0.9 * MUTATIONS
    signed = verify_pack.files_of_folder(pack)
    for changed in mutations(signed["manifest.sig"], 40, rng):
        assert verify_pack.problems_of({**signed, "manifest.sig": changed}) == [
            "manifest.sig is not a signature of manifest.json by the key it names"
        ]


def test_every_mutation_of_the_zip_file_is_found(tmp_path: Path) -> None:
    rng = random.Random(4)
    folder = tmp_path / "lot"
    write_pack(folder, packed(content()))
    raw = zip_pack(folder, tmp_path / "lot.zip").read_bytes()
    for changed in [*mutations(raw, MUTATIONS // 4, rng), raw + b"\0", b"\0" + raw, raw[:-1], b""]:
        assert problems_of_zip(changed, _written(tmp_path / "m.zip", changed))


def test_every_byte_of_a_zip_header_and_directory_is_watched(tmp_path: Path) -> None:
    files = packed(PackContent("Lot", START, "reelproof", {}, {}), None)
    files = {name: files[name] for name in sorted(files)}
    raw = verify_pack.zip_bytes([(f"lot/{name}", one) for name, one in files.items()])
    inside = {raw.index(one): len(one) for one in files.values()}
    covered = {place for start, size in inside.items() for place in range(start, start + size)}
    outside = [place for place in range(len(raw)) if place not in covered]
    assert len(outside) > 400
    assert problems_of_zip(raw, _written(tmp_path / "m.zip", raw)) == []
    for place in outside:
        changed = raw[:place] + bytes([raw[place] ^ 0xFF]) + raw[place + 1 :]
        assert problems_of_zip(changed, _written(tmp_path / "m.zip", changed)), place


def _written(path: Path, raw: bytes) -> Path:
    path.write_bytes(raw)
    return path


def test_someone_who_makes_every_hash_again_is_caught_by_the_key_and_by_the_certificate(pack: Path) -> None:
    files = verify_pack.files_of_folder(pack)
    printed = hashlib.sha256(files["manifest.json"]).hexdigest()
    other_key = bytes(32)
    forged = packed(
        PackContent("Lot 2503-04", START, "reelproof 0.1.0", {"findings": FINDINGS.head(1)}), other_key
    )
    assert verify_pack.problems_of(forged) == []
    assert hashlib.sha256(forged["manifest.json"]).hexdigest() != printed
    claimed = dict(forged)
    claimed["manifest.json"] = forged["manifest.json"].replace(
        public_key(other_key).hex().encode(), public_key(KEY).hex().encode()
    )
    digest = hashlib.sha256(claimed["manifest.json"]).hexdigest()
    claimed["manifest.sha256"] = f"{digest}  manifest.json\n".encode()
    claimed["manifest.sig"] = (sign(other_key, claimed["manifest.json"]).hex() + "\n").encode()
    assert verify_pack.problems_of(claimed) == [
        "manifest.sig is not a signature of manifest.json by the key it names"
    ]


def test_what_its_reader_knows_from_elsewhere_is_compared(pack: Path, tmp_path: Path) -> None:
    """A root printed when the journal had 4 entries, the root of now, and the plant's public key."""
    entries: list[Entry] = []
    for number in range(9):
        entries.append(
            next_entry(entries[-1] if entries else None, START, "load", f"R{number % 2}", {"n": number})
        )
    early, now = anchor_of(entries[:4]), anchor_of(entries)
    proof = PackContent(
        "Proof of R1",
        START,
        "reelproof 0.1.0",
        {},
        {},
        prove(entries, [2]),
        now,
        early,
        prove_unchanged(entries, early),
    )
    folder = tmp_path / "proof"
    write_pack(folder, packed(proof, KEY))
    assert verify_files(folder, root=early, key=public_key(KEY)) == verify_files(folder, root=now) == ()
    key, root = public_key(KEY).hex(), str(early)
    assert script(folder, "--root", root, "--key", key.upper())[0] == 0
    assert script(folder, "--root", f"4:{'0' * 64}", "--key", "ab" * 32) == (
        1,
        (
            "NOT AS EXPORTED\n"
            f"  it was signed by another key: {key}\n"
            "  the first 4 entries of its journal do not have the root that was given\n"
        ),
    )
    assert verify_files(folder, root=Anchor(5, early.root)) == (
        (
            "it speaks of a journal of 9 entries that began as one of 4, so it shows nothing about one of 5: ask for a "
            "proof from that root on"
        ),
    )
    write_pack(tmp_path / "unsigned", packed(content()))
    assert verify_files(tmp_path / "unsigned", key=public_key(KEY)) == ("nobody signed it",)
    # A journal rewritten before the certificate: the consistency proof no longer leads from the old root.
    rewritten = [next_entry(None, START, "load", "R0", {"n": 99})]
    for number in range(1, 9):
        rewritten.append(next_entry(rewritten[-1], START, "load", f"R{number % 2}", {"n": number}))
    forged = replace(
        proof, entries=prove(rewritten, [2]), anchor=anchor_of(rewritten), consistency=proof.consistency
    )
    assert verify_pack.problems_of(packed(forged, KEY)) == [
        "the journal's root is not proved to follow from that of its first 4 entries"
    ]
    with pytest.raises(ReelproofError) as told:
        prove_unchanged(rewritten, early)
    assert str(told.value) == (
        "journal: the first 4 entries no longer have the root that was anchored. Check the root as the certificate "
        "prints it; if it stands, the journal was rewritten since."
    )


def test_an_entry_that_is_not_in_the_journal_is_told(pack: Path) -> None:
    made = content()
    changed = made.entries[0].record.replace('"n":0', '"n":7')
    entries = (type(made.entries[0])(1, changed, made.entries[0].proof), *made.entries[1:])
    files = packed(PackContent(made.subject, START, made.software, {}, {}, entries, made.anchor), KEY)
    assert verify_pack.problems_of(files) == ["journal entry 1 is not proved by the journal's root"]


@pytest.mark.parametrize(("private", "public", "message", "signature"), SIGNATURES)
def test_the_scripts_own_ed25519(private: str, public: str, message: str, signature: str) -> None:
    """RFC 8032, 7.1, tests 1 to 3: the standard-library check of verify.py."""
    key, text, proof = (bytes.fromhex(one) for one in (public, message, signature))
    assert verify_pack.signed(key, text, proof)
    for byte in (0, 31, 32, 63):
        wrong = proof[:byte] + bytes([proof[byte] ^ 1]) + proof[byte + 1 :]
        assert not verify_pack.signed(key, text, wrong)
    assert not verify_pack.signed(key, text + b"x", proof)
    assert not verify_pack.signed(key, text, proof[:63])
    rng = random.Random(8)
    for _ in range(5):
        private_key, message_now = rng.randbytes(32), rng.randbytes(40)
        assert verify_pack.signed(public_key(private_key), message_now, sign(private_key, message_now))


def test_the_zip_file_is_a_plain_zip_file(pack: Path) -> None:
    with zipfile.ZipFile(pack.with_suffix(".zip")) as archive:
        assert archive.testzip() is None
        assert {name.split("/")[0] for name in archive.namelist()} == {"lot-2503-04"}
        assert archive.read("lot-2503-04/history.pdf") == b"%PDF-1.7 invented"


def test_nothing_is_written_over_and_names_are_checked(pack: Path, tmp_path: Path) -> None:
    with pytest.raises(ReelproofError) as told:
        write_pack(pack, packed(content()))
    assert str(told.value) == (
        f"{pack}: there is something of that name already. Give a new folder for the pack."
    )
    with pytest.raises(ReelproofError) as told:
        zip_pack(pack, pack.with_suffix(".zip"))
    assert str(told.value) == (
        f"{pack.with_suffix('.zip')}: there is something of that name already. "
        "Give a new name for the zip file."
    )
    with pytest.raises(ReelproofError) as told:
        packed(PackContent("Lot", START, "reelproof", {}, {"../x": b""}))
    assert str(told.value) == (
        "pack: '../x' cannot name a file in it. Use letters, digits, dots, dashes and underscores."
    )
    nested = pl.DataFrame({"a": [{"b": 1}]})
    with pytest.raises(ReelproofError) as told:
        packed(PackContent("Lot", START, "reelproof", {"t": nested}))
    assert str(told.value) == (
        "pack: table t: column a holds a Struct({'b': Int64}). "
        "Unfold it into columns of single values; CSV holds nothing else."
    )
    file = tmp_path / "file"
    file.write_text("x")
    with pytest.raises(ReelproofError) as told:
        write_pack(file / "pack", packed(content()))
    assert str(told.value) == (
        f"{file / 'pack'}: the pack cannot be written (Not a directory). Give a folder you may write in."
    )
    with pytest.raises(ReelproofError) as told:
        verify_files(tmp_path / "nothing")
    assert str(told.value) == (
        f"{tmp_path / 'nothing'}: there is no such folder or file. Give the pack's folder or zip file."
    )
    broken = tmp_path / "broken"
    shutil.copytree(pack, broken)
    (broken / "README.txt").write_text("x")
    with pytest.raises(ReelproofError) as told:
        zip_pack(broken, tmp_path / "b.zip")
    assert str(told.value) == f"{broken}: README.txt was changed. Export the pack again."
    assert verify_files(broken) == ("README.txt was changed",)
    assert verify_files(pack, "00" * 32) == (
        "the manifest is not the one whose hash was given: this is another pack",
    )
