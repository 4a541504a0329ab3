"""Reads blocks of the archive, in the form that doc.go gives: python3 read.py FILE...
prints each as JSON, column by column. Blocks come out of an archive with, for example,
sqlite3 padlark.db "SELECT writefile('block' || id, data) FROM sample_blocks" """
import json, struct, subprocess, sys

def crc(data):
    c = 0xFFFFFFFF
    for b in data:
        c ^= b
        for _ in range(8): c = c >> 1 ^ (0x82F63B78 if c & 1 else 0)
    return c ^ 0xFFFFFFFF

class Bytes:
    def __init__(self, b): self.b, self.at = b, 0
    def take(self, n): self.at += n; return self.b[self.at - n:self.at]
    def byte(self): return self.take(1)[0]
    def uvarint(self):
        v = shift = 0
        while True:
            b = self.byte(); v |= (b & 127) << shift; shift += 7
            if b < 128: return v
    def int(self): u = self.uvarint(); return u >> 1 ^ -(u & 1)

def ints(r, n, beside):
    form = r.byte()
    if form < 2:
        first = r.int() if n else 0
        step = r.int() if form == 1 else 0
        return [first + i * step for i in range(n)]
    v = [r.int() for _ in range(n)]
    if form == 4: return [x + y for x, y in zip(v, beside)]
    for _ in range(form - 1):
        for i in range(1, n): v[i] += v[i - 1]
    return v

def floats(r, n):
    bits = r.take((n + 7) // 8) if r.byte() else b"\xff" * n
    has = [bits[i // 8] >> i % 8 & 1 for i in range(n)]
    m, form = sum(has), r.byte()
    if form == 1: v = list(struct.unpack("<d", r.take(8))) * m if m else []
    elif form < 4 and form: k = r.byte(); v = [x / 10.0**k if form == 2 else x * float(f"1e-{k}") for x in ints(r, m, None)]
    else: size = 8 if form == 0 else 4; p = r.take(size * m); v = [struct.unpack("<d" if size == 8 else "<f", p[i::m])[0] for i in range(m)]
    v = iter(v)
    return [next(v) if h else None for h in has]

def strings(r, lens):
    if r.byte() == 0: return [list(r.take(n)) for n in lens]
    rows = [[] for _ in lens]
    for _ in range(lens[0]):
        last = 0
        for row in rows: last = last + r.byte() & 255; row.append(last)
    return rows

def read(data):
    assert crc(data[:-4]) == struct.unpack("<I", data[-4:])[0] and data[1] == 1, "damaged, or of another version"
    r = Bytes(data); r.take(2)
    rows, columns, raw = r.uvarint(), [], {}
    for _ in range(r.uvarint()):
        i = r.byte()
        name = r.take(r.uvarint()).decode() if i == 255 else i
        packed = r.byte()
        if packed: r.uvarint()
        columns.append((name, packed, r.uvarint()))
    for name, packed, size in columns:
        b = r.take(size)
        raw[name] = Bytes(subprocess.run(["zstd", "-dcq"], input=b, stdout=subprocess.PIPE, check=True).stdout if packed else b)
    out = {}
    def whole(i):  # after the column that it may refer to
        if i not in out: out[i] = ints(raw[i], rows, whole(beside[i]) if i in beside else None)
        return out[i]
    beside = {2: 1, 3: 0, 6: 8} if data[:1] == b"F" else {11: 0, 1: 13, 2: 1}
    for name in raw:
        if name == 9: out[name] = strings(raw[name], whole(8))
        elif isinstance(name, int) and name < 32 and name != 7: whole(name)
        else: out[name] = floats(raw[name], rows)
    return out

for path in sys.argv[1:]:
    print(json.dumps(read(open(path, "rb").read())))
