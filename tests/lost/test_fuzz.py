"""Whatever comes: no crash, no invention, no memory without bound.

Laws that hold for any bytes at all. The default run draws some hundred of each with
hypothesis; `python tests/lost/test_fuzz.py decoder --runs 10000000` lets atheris search by
coverage (Linux, `pip install -e '.[fuzz]'`), `timeline`, `reader` and `replay` likewise;
`--blind 1` changes bytes at random and needs nothing.
"""

import argparse
import gzip
import random
import resource
import sys
from binascii import crc_hqx
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from types import FunctionType, ModuleType

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tensionlog import pipeline, timeline
from tensionlog.errors import TensionlogError
from tensionlog.model.lines import BadLine, Hello, Sample
from tensionlog.model.recording import Arrival, Header, Note
from tensionlog.pipeline.audit import Audit
from tensionlog.pipeline.replay import replay
from tensionlog.sources import blocks
from tensionlog.sources import header as header_module
from tensionlog.sources import recording as recording_module
from tensionlog.sources.recording import open_recording
from tensionlog.timeline import counted
from tensionlog.wire import LineDecoder, decode_line, decoder, encode, lines, splitter

pytestmark = pytest.mark.long

ROOT = Path(__file__).parents[2]
HEAD = (
    b"# tensionlog-recording 1\n"
    b'# {"bench": "any", "purpose": "job", "started": "2026-03-02T09:00:00Z", '
    b'"rate_hz": 80.0, "adc_bits": 24, "tensioner": "lockout", "tail_m": 0.35, '
    b'"calibration": {"zero_counts": 84211, "counts_per_N": 9120.0}}\n'
)
KEPT_BYTES = 128


def with_good_checksums(data: bytes) -> bytes:
    """The same lines under checksums that hold, so that damage gets past the first door."""
    out = []
    for line in data.split(b"\n"):
        body, star, _ = line.rpartition(b"*")
        out.append(body + b"*" + _crc(body) if star else line)
    return b"\n".join(out)


def _crc(body: bytes) -> bytes:
    return b"%04X" % crc_hqx(body, 0)


def crc_by_hand(body: bytes) -> int:
    """CRC-16/XMODEM bit by bit, as the wire's page describes it."""
    crc = 0
    for byte in body:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


@given(st.binary(max_size=96))
@example(b"123456789")
def test_the_checksum_of_these_laws_is_the_one_described(body):
    assert crc_hqx(body, 0) == crc_by_hand(body)


def cut(data: bytes, size: int) -> Iterator[bytes]:
    return (data[at : at + size] for at in range(0, len(data), size))


# -- the laws ------------------------------------------------------------------------------


def decoder_law(data: bytes) -> None:
    """No byte is lost, no sample is invented, the cut does not matter, memory is bounded."""
    whole, pieces = LineDecoder(), LineDecoder()
    decoded = whole.feed(data)
    at = len(data) * 7 // 11
    assert pieces.feed(data[:at]) + pieces.feed(data[at:]) == decoded
    assert whole.bytes_in_lines + whole.pending_bytes == whole.bytes_fed == len(data)
    assert len(whole.pending) <= KEPT_BYTES
    assert len(decoded) == data.count(b"\n")
    for line, raw in zip(decoded, data.split(b"\n")[:-1], strict=True):
        if isinstance(line, BadLine):
            assert len(line.raw) <= KEPT_BYTES
        elif isinstance(line, Sample | Hello):
            body = raw.removesuffix(b"\r").rpartition(b"*")[0]
            assert raw.removesuffix(b"\r") == body + b"*" + _crc(body)
            assert decode_line(encode(line)) == line
    whole.close()


def timeline_law(data: bytes) -> None:
    """What any bytes are taken for, the account of them balances."""
    header = Header(bench="any", purpose="free", started=open_time(), rate_hz=80.0, adc_bits=24)
    audit = Audit(header)
    for number, piece in enumerate(cut(data, 61)):
        audit.arrived(1_772_442_000.0 + number * 0.1)
        audit.feed(piece)
    proof = audit.close()
    assert proof.false == 0, proof
    assert proof.twice <= too_coarse(data), proof


def too_coarse(data: bytes) -> int:
    """Conversions to which the device's own clock gives the moment of another."""
    whole = LineDecoder()
    said = [x for x in whole.feed(data) + whole.close() if isinstance(x, Sample)]
    return len({(x.seq, x.t_us) for x in said}) - len({x.t_us for x in said})


def open_time():
    found = header_module.parse_time("2026-03-02T09:00:00Z")
    assert found is not None
    return found


def reader_law(path: Path) -> int:
    """Any file is a recording that is read to its end, or one line that says what it is not.

    Returns:
        Device bytes that were read.
    """
    try:
        reader = open_recording(path)
        items = list(reader)
    except TensionlogError as error:
        assert len(str(error).splitlines()) == 1
        return 0
    assert all(isinstance(item, bytes | Arrival | Note) for item in items)
    return sum(len(item) for item in items if isinstance(item, bytes))


def replay_law(path: Path) -> None:
    """Any recording is answered, or one line says why not."""
    try:
        whole = replay(path)
    except TensionlogError as error:
        assert len(str(error).splitlines()) == 1
        return
    assert whole.ledger.samples >= 0


# -- the short form ------------------------------------------------------------------------


def wire_bytes() -> st.SearchStrategy[bytes]:
    """Pieces of sound lines, damage and anything else, put together."""
    number = st.integers(-3, 1 << 33) | st.sampled_from([0, 65535, 65536, (1 << 32) - 1])
    field = number.map(b"%d".__mod__) | st.binary(max_size=6)
    kind = st.sampled_from([b"S", b"H", b"E", b"F", b"K", b"Q", b""])
    body = st.tuples(kind, st.lists(field, max_size=7)).map(lambda x: b",".join([x[0], *x[1]]))
    line = body.map(lambda b: b + b"*" + _crc(b)) | st.binary(max_size=120)
    end = st.sampled_from([b"\n", b"\r\n", b"", b"\n@ 2026-03-02T09:00:00.5Z\n", b"\n! {"])
    return st.lists(st.tuples(line, end).map(b"".join), max_size=12).map(b"".join)


@settings(max_examples=60)
@given(wire_bytes())
@example(b"S,0,4293999990,84122*E6F7\r\n" * 40)
def test_any_bytes_are_decoded_without_loss_or_invention(data):
    decoder_law(data)


@settings(max_examples=40)
@given(wire_bytes())
@example(b"S,0,0,1*" + _crc(b"S,0,0,1") + b"\n" + b"F,0,0,saturated*0000\n")
@example(b"H,1,x,y,80,4261649837,1*" + _crc(b"H,1,x,y,80,4261649837,1") + b"\n")
def test_the_account_of_any_bytes_balances(data):
    timeline_law(data)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=wire_bytes(), has_head=st.booleans(), is_packed=st.booleans())
@example(data="# tensionlog-recording 2\u2028x\n".encode(), has_head=False, is_packed=False)
@example(data=b"# {", has_head=False, is_packed=False)
@example(data=b"! {" + b'"a":[' * 3000, has_head=True, is_packed=False)
@example(data=b'! {"note": 1e999, "at": "2026"}\n', has_head=True, is_packed=True)
def test_any_file_is_read_to_its_end_or_refused_in_one_line(
    tmp_path, data, has_head, is_packed
):
    path = tmp_path / "any.rec"
    raw = HEAD + data if has_head else data
    path.write_bytes(gzip.compress(raw, 1) if is_packed else raw)

    assert reader_law(path) <= len(raw)


@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(wire_bytes())
def test_any_recording_is_answered_or_refused_in_one_line(tmp_path, data):
    path = tmp_path / "any.rec"
    path.write_bytes(HEAD + data)

    replay_law(path)


def test_the_laws_can_be_broken(monkeypatch):
    """A decoder that takes what does not hold is found out."""
    monkeypatch.setattr(decoder, "crc_hqx", lambda body, _start: 0x0000)
    monkeypatch.setattr(lines, "crc_hqx", lambda body, _start: 0x0000)

    with pytest.raises(AssertionError):
        decoder_law(b"S,0,0,1*0000\n")


# -- the long form -------------------------------------------------------------------------


def on_file(law: Callable[[Path], object], head: bytes = b"") -> Callable[[bytes], None]:
    """A law about files as one about bytes; files lie in memory where there is such a place."""
    memory = Path("/dev/shm")
    folder = TemporaryDirectory(dir=memory if memory.is_dir() else None)
    path = Path(folder.name) / "any.rec"

    def about_bytes(data: bytes) -> None:
        assert folder
        path.write_bytes(head + data)
        law(path)

    return about_bytes


LAWS: dict[str, tuple[Callable[[], Callable[[bytes], None]], list[ModuleType]]] = {
    "decoder": (lambda: decoder_law, [decoder, lines, splitter]),
    "timeline": (lambda: timeline_law, [lines, counted, timeline.position, timeline.signals]),
    "reader": (lambda: on_file(reader_law), [recording_module, header_module, blocks]),
    "replay": (lambda: on_file(replay_law, HEAD), [pipeline.gather, pipeline.sitting]),
}


def seeds() -> list[bytes]:
    """What to begin with: the wire's own vectors and pieces of the example recordings."""
    rows = (ROOT / "shared/wire_vectors.csv").read_text(encoding="utf-8").splitlines()
    found = [bytes.fromhex(row.rpartition(",")[2]) for row in rows[1:]]
    for path in sorted((ROOT / "recordings").glob("*.rec.gz")):
        raw = gzip.decompress(path.read_bytes())
        found += [raw[:1200], raw[40_000:40_400], path.read_bytes()[:800]]
    return found


def functions_of(module: ModuleType) -> Iterator[FunctionType]:
    """Functions and methods that a module defines itself."""
    own = [x for x in vars(module).values() if getattr(x, "__module__", "") == module.__name__]
    for found in own:
        inside = vars(found).values() if isinstance(found, type) else [found]
        yield from (x for x in inside if isinstance(x, FunctionType))


def search(name: str, *, runs: int, longest: int) -> None:
    """Let atheris look for bytes that break a law; ends the process."""
    import atheris

    make, modules = LAWS[name]
    for module in modules:
        for found in functions_of(module):
            atheris.instrument_func(found)
    law = make()
    mended = name in ("decoder", "timeline", "replay")

    def one_input(data: bytes) -> None:
        law(with_good_checksums(data) if mended and len(data) % 2 else data)

    with TemporaryDirectory() as corpus:
        for number, seed in enumerate(seeds()):
            (Path(corpus) / str(number)).write_bytes(seed[:longest])
        arguments = [
            f"-runs={runs}",
            f"-max_len={longest}",
            "-rss_limit_mb=700",
            "-malloc_limit_mb=64",
            "-timeout=200",
        ]
        arguments.append("-print_final_stats=1")
        atheris.Setup([sys.argv[0], *arguments, corpus], one_input)
        atheris.Fuzz()


def storm(name: str, *, runs: int, seed: int) -> None:
    """Change bytes of sound lines at random, without looking where that leads."""
    rng, law = random.Random(seed), LAWS[name][0]()
    pool = [line + b"\n" for seed in seeds() for line in seed.split(b"\n") if line]
    for _ in range(runs):
        data = bytearray(b"".join(rng.choices(pool, k=1 + rng.randrange(2))))
        for _ in range(rng.randrange(4)):
            at = rng.randrange(len(data))
            match rng.randrange(3):
                case 0:
                    data[at] = rng.randrange(256)
                case 1:
                    del data[at : at + 1 + rng.randrange(4)]
                case 2:
                    data[at:at] = rng.randbytes(1 + rng.randrange(3))
            data = data or bytearray(b"\n")
        law(with_good_checksums(bytes(data)) if rng.random() < 0.5 else bytes(data))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    sys.stdout.write(f"{runs} inputs to the {name}, peak memory {peak_mb:.0f} MB\n")


def test_a_storm_of_changed_lines_breaks_nothing():
    storm("decoder", runs=2000, seed=1)
    storm("timeline", runs=300, seed=1)


def main() -> None:
    """Search one law for a counterexample, by coverage or blindly."""
    asked = argparse.ArgumentParser(description=main.__doc__)
    asked.add_argument("law", choices=sorted(LAWS))
    asked.add_argument("--runs", type=int, default=100_000)
    asked.add_argument("--longest", type=int, default=160)
    asked.add_argument("--blind", type=int, metavar="SEED", help="without atheris")
    given_ = asked.parse_args()
    if given_.blind is not None:
        storm(given_.law, runs=given_.runs, seed=given_.blind)
        return
    search(given_.law, runs=given_.runs, longest=given_.longest)


if __name__ == "__main__":
    main()
