#!/usr/bin/python3
"""Gathers pictures that are not side-scan sonar, so that a network can learn to refuse them and be scored on it.

    nosonar.py [--seed N] FIT_DIR SCORE_DIR

The pictures come from Debian packages (nosonar-fit.txt, nosonar-score.txt beside this file) and, for the fit alone, from
the drawing functions below. Nothing of them is kept in the repository: their licences differ, and this script brings
the same pictures back, but for the drawn fans and layers. Each folder gets a table beside it (FIT_DIR.tsv,
SCORE_DIR.tsv) that says where each came from. What was taken from each package, its version and its licences are
printed.

A line of a list is

    PACKAGE AT_MOST VERSION LICENCE...     take at most so many pictures; version and licence are for the record
    -PACKAGE PATH                          never take a picture whose path has PATH in it: seen and rejected by eye

The two lists share no package, and a picture in the fit that looks like one in the score is dropped: packages borrow
from each other, and a score on pictures that were fitted on says nothing.

Needs Debian with an up-to-date package index (apt-get update), python3-numpy, python3-opencv, python3-pil;
rsvg-convert (librsvg2-bin) for SVG and pdftoppm (poppler-utils) for PDF, without which those files are passed over.
"""

import argparse
import collections
import gzip
import hashlib
import io
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import zipfile

import cv2
import numpy as np
from PIL import Image

HERE = os.path.dirname(os.path.abspath(__file__))

MIN_SIDE = 100          # less than this holds too little to tell a picture of anything
MAX_ASPECT = 5.0        # banners and sprite strips
MIN_STD = 5.0           # a flat picture teaches nothing
SCORE_LONGEST = 1280
FIT_LONGEST = 480
FIT_QUALITY = 85
FIT_BYTES = 84 * 10**6  # the whole fit folder
ONE_BYTES = 17_500      # a noisy texture at full size costs five times an average picture; see small_jpeg
GREY_SHARE = 0.12       # of the fit's colour pictures: sonar is often shown grey, so grey must not mean sonar
SAME_SET = 3            # bits of a 64-bit hash within which two pictures of one set count as the same
OTHER_SET = 6           # ... and of different sets: stricter, since leaking is worse than losing a picture

RASTER = ('.png', '.jpg', '.jpeg', '.tga', '.bmp', '.gif', '.tif', '.tiff', '.pcx', '.webp', '.ppm', '.pgm', '.dds')
PACKED = ('.pk3', '.pk4', '.zip', '.jar', '.kra', '.oxt', '.whl', '.pk3dir', '.szg')

# Pictures of sonar by name; maps of surface directions, which look like nothing a user would open; and the thousands
# of class diagrams that generated manuals hold, each like the next.
REJECT = re.compile(r'''sonar | side.?scan | echo.?sound | hydrophone | fish.?find | bathym
                        | _(norm|nm|n|nrm|normal|local)\. | normal.?map
                        | /(class|struct|interface|union|namespace)[^/]*_[_1][^/]*\.(png|svg)
                        | __(inherit|coll|incl|dep)__?graph | __incl\. | _8(h|hh|hpp|cc|cpp)_ | _i?c?graph\.
                        | /(inherit_)?graph_ | /dir_[0-9a-f]{9}''',
                    re.I | re.X)

Image.MAX_IMAGE_PIXELS = 120_000_000


def say(*words):
    print(*words, file=sys.stderr, flush=True)


def unit(*parts):
    """A number in [0, 1) fixed by its arguments: a choice that doesn't move when other packages come or go."""
    return int.from_bytes(hashlib.sha256('\0'.join(map(str, parts)).encode()).digest()[:6], 'big') / 2**48


# ---- the lists ----------------------------------------------------------------------------------------------------

Wanted = collections.namedtuple('Wanted', 'package at_most version')


def read_list(path):
    wanted, rejected = [], collections.defaultdict(list)
    with open(path, encoding='utf-8') as f:
        for n, line in enumerate(f, 1):
            words = line.split('#')[0].split()
            if not words:
                continue
            if words[0].startswith('-'):
                rejected[words[0][1:]].append(' '.join(words[1:]))
            elif len(words) >= 2 and words[1].isdigit():
                wanted.append(Wanted(words[0], int(words[1]), words[2] if len(words) > 2 else ''))
            else:
                sys.exit(f'{path}:{n}: want PACKAGE AT_MOST VERSION LICENCE, or -PACKAGE PATH')
    return wanted, rejected


# ---- packages -----------------------------------------------------------------------------------------------------

def download(want, into):
    """The package's file. A version that the mirror no longer has is replaced by the one it has."""
    os.makedirs(into)
    tries = [f'{want.package}={want.version}'] if want.version and want.version != '?' else []
    for spec in tries + [want.package]:
        r = subprocess.run(['apt-get', 'download', '-qq', spec], cwd=into, capture_output=True, text=True)
        found = [f for f in os.listdir(into) if f.endswith('.deb')]
        if r.returncode == 0 and found:
            if spec == want.package and tries:
                say(f'{want.package}: version {want.version} is gone, took {found[0]}')
            return os.path.join(into, found[0])
    say(f'{want.package}: not downloaded: {r.stderr.strip()[-200:]}')
    return None


def licences(tree, package):
    """The names of the licences in the package's copyright file, as far as it is written to be read by machines."""
    try:
        with open(os.path.join(tree, 'usr/share/doc', package, 'copyright'), encoding='utf-8', errors='replace') as f:
            names = re.findall(r'^License:[ \t]*(\S.*)$', f.read(), re.M | re.I)
    except OSError:
        return '?'
    return ', '.join(dict.fromkeys(n.strip() for n in names)) or '?'


def packages(wants, work):
    """Yields (want, unpacked folder). The next one is downloaded meanwhile; no more than two are on the disk."""
    def fetch(i):
        box = {}

        def go():
            box['deb'] = download(wants[i], os.path.join(work, f'd{i}'))
        t = threading.Thread(target=go)
        t.start()
        return t, box
    ahead = fetch(0) if wants else None
    for i, want in enumerate(wants):
        t, box = ahead
        t.join()
        tree = os.path.join(work, f't{i}')
        if box.get('deb'):
            subprocess.run(['dpkg-deb', '-x', box['deb'], tree], check=True)
            version = subprocess.run(['dpkg-deb', '-f', box['deb'], 'Version'], check=True, capture_output=True,
                                     text=True).stdout.strip()
        shutil.rmtree(os.path.join(work, f'd{i}'))
        ahead = fetch(i + 1) if i + 1 < len(wants) else None
        if os.path.isdir(tree):
            yield want._replace(version=version), tree
            shutil.rmtree(tree, ignore_errors=True)


def pdf_pages(path):
    try:
        out = subprocess.run(['pdfinfo', path], capture_output=True, text=True, timeout=20).stdout
        return int(re.search(r'^Pages:\s+(\d+)', out, re.M).group(1))
    except (OSError, AttributeError, subprocess.TimeoutExpired):
        return 0


def candidates(tree):
    """(name, opener) of everything in the tree that may be a picture; an opener returns (bytes or array, extension)."""
    def whole(path):
        def read():
            with open(path, 'rb') as f:
                return f.read()
        return read

    for folder, _, files in os.walk(tree):
        for base in files:
            path = os.path.join(folder, base)
            name = os.path.relpath(path, tree)
            ext = os.path.splitext(base)[1].lower()
            if os.path.islink(path) or not os.path.isfile(path):
                continue
            if ext in RASTER:
                yield name, lambda p=path, e=ext: (whole(p)(), e)
            elif ext in ('.svg', '.svgz') and shutil.which('rsvg-convert'):
                yield name, lambda p=path: (svg(p), '.png')
            elif ext == '.pdf' and shutil.which('pdftoppm'):
                pages = pdf_pages(path)
                # Neighbouring pages look alike, so a long book is only sampled.
                for page in range(1, pages + 1, max(1, pages // 40)):
                    yield f'{name}#{page}', lambda p=path, n=page: (pdf(p, n), '.png')
            elif base.endswith('.nii.gz'):
                for part in (0.3, 0.45, 0.6):
                    for axis in (0, 1, 2):
                        yield f'{name}#{axis}.{part}', lambda p=path, a=axis, q=part: (nifti(p, a, q), '.array')
            elif ext in PACKED and zipfile.is_zipfile(path):
                with zipfile.ZipFile(path) as z:
                    inside = [i.filename for i in z.infolist() if i.filename.lower().endswith(RASTER)]
                for n in inside:
                    def unpack(p=path, n=n):
                        with zipfile.ZipFile(p) as z:
                            return z.read(n), os.path.splitext(n)[1].lower()
                    yield f'{name}!{n}', unpack


def in_order(found, seed):
    """Turns through the folders, so that one folder with thousands of files doesn't fill a package's share."""
    folders = collections.defaultdict(list)
    for name, opener in found:
        folders[os.path.dirname(name.split('#')[0])].append((unit(seed, name), name, opener))
    ranked = []
    for items in folders.values():
        ranked += [(rank, u, name, opener) for rank, (u, name, opener) in enumerate(sorted(items, key=lambda x: x[:2]))]
    return [(name, opener) for _, _, name, opener in sorted(ranked, key=lambda x: x[:3])]


# ---- decoding -----------------------------------------------------------------------------------------------------

def svg(path):
    return subprocess.run(['rsvg-convert', '-w', '640', '-h', '640', '-a', path], capture_output=True, timeout=20,
                          check=True).stdout


def pdf(path, page):
    return subprocess.run(['pdftoppm', '-png', '-scale-to', '900', '-f', str(page), '-l', str(page), path],
                          capture_output=True, timeout=40, check=True).stdout


def nifti(path, axis, part):
    """A slice of a NIfTI-1 volume, stretched to eight bits."""
    with gzip.open(path) as f:
        raw = f.read()
    for order in '<>':
        if np.frombuffer(raw, order + 'i4', 1)[0] == 348:
            break
    dim = np.frombuffer(raw, order + 'i2', 8, 40)
    kind = {2: 'u1', 4: 'i2', 8: 'i4', 16: 'f4', 64: 'f8', 256: 'i1', 512: 'u2'}[
        int(np.frombuffer(raw, order + 'i2', 1, 70)[0])]
    start = int(np.frombuffer(raw, order + 'f4', 1, 108)[0])
    shape = tuple(int(d) for d in dim[1:4])
    volume = np.frombuffer(raw, order + kind, math.prod(shape), start).reshape(shape, order='F')
    return stretch(np.rot90(np.take(volume, int(shape[axis] * part), axis)).astype(np.float32))


def stretch(a):
    a = np.nan_to_num(a.astype(np.float32))
    low, high = np.percentile(a, (0.5, 99.5))
    return np.uint8(np.clip((a - low) / max(high - low, 1e-6), 0, 1) * 255)


def decode(data, ext, longest):
    """An RGB or grey picture whose longer side is at most `longest`, and whether it had to be changed at all.

    What is see-through is laid on white or near black. The file's content chooses, not its name: an icon that two
    packages share must come out the same for both, or it is not known again."""
    if ext == '.array':
        im = Image.fromarray(data)
        changed = True
    else:
        im = Image.open(io.BytesIO(data))
        if im.size[0] * im.size[1] > Image.MAX_IMAGE_PIXELS:
            raise ValueError('too large')
        if im.format == 'JPEG':
            im.draft('RGB' if im.mode != 'L' else 'L', (longest, longest))  # decodes at a fraction of the size
        size = im.size
        im.load()
        changed = im.format not in ('PNG', 'JPEG') or max(Image.open(io.BytesIO(data)).size) > longest or im.size != size
    if im.mode.startswith(('I', 'F')):
        im = Image.fromarray(stretch(np.asarray(im)))
        changed = True
    elif im.mode in ('RGBA', 'LA', 'PA') or 'transparency' in im.info:
        im = im.convert('RGBA')
        ground = 255 if unit(hashlib.sha256(data).hexdigest()) < 0.6 else 24
        changed = True
        base = Image.new('RGBA', im.size, (ground, ground, ground, 255))
        im = Image.alpha_composite(base, im).convert('RGB')
    elif im.mode != 'L':
        im = im.convert('RGB')
    scale = longest / max(im.size)
    if scale < 1:
        im = im.resize([max(1, round(s * scale)) for s in im.size], Image.LANCZOS, reducing_gap=3)
    return im, changed


def worth(im):
    w, h = im.size
    if min(w, h) < MIN_SIDE or max(w, h) > MAX_ASPECT * min(w, h):
        return False
    return float(np.asarray(im.convert('L'), np.float32).std()) >= MIN_STD


def looks(im):
    """A 64-bit difference hash: the signs of the steps between neighbours of a 9x8 grey copy."""
    a = np.asarray(im.convert('L').resize((9, 8), Image.BOX), np.int16)
    return np.packbits(a[:, 1:] > a[:, :-1])


class Seen:
    """What was taken so far, to tell a picture that was seen before."""

    def __init__(self):
        self.exact = set()
        self.hashes = np.zeros((0, 8), np.uint8)

    def near(self, h, bits):
        if not len(self.hashes):
            return False
        return int(np.unpackbits(self.hashes ^ h, axis=1).sum(1).min()) <= bits

    def add(self, exact, h):
        self.exact.add(exact)
        self.hashes = np.vstack([self.hashes, h])


# ---- writing ------------------------------------------------------------------------------------------------------

def jpeg(im, quality=FIT_QUALITY):
    out = io.BytesIO()
    im.save(out, 'JPEG', quality=quality, optimize=True)
    return out.getvalue()


def small_jpeg(im, u):
    """A JPEG of at most about ONE_BYTES. A picture that is too large is, for a third of them, cut instead of shrunk:
    shrinking smooths the grain away that makes stone and sand look like a seabed."""
    data = jpeg(im)
    if len(data) <= ONE_BYTES:
        return data
    scale = math.sqrt(ONE_BYTES / len(data))
    w, h = im.size
    scale = min(1, max(scale, 1.5 * MIN_SIDE / min(w, h)))
    cw, ch = max(1, round(w * scale)), max(1, round(h * scale))
    if u < 1 / 3:
        x, y = int(u * 3 * (w - cw)), int((1 - u * 3) * (h - ch))
        return jpeg(im.crop((x, y, x + cw, y + ch)))
    return jpeg(im.resize((cw, ch), Image.LANCZOS))


def gather(wants, rejected, seed, write, table, work):
    counts = collections.OrderedDict()
    for want, tree in packages(wants, work):
        found = []
        for name, opener in candidates(tree):
            if not REJECT.search(name) and not any(r in name for r in rejected[want.package]):
                found.append((name, opener))
        taken = tried = 0
        for name, opener in in_order(found, seed):
            if taken >= want.at_most or tried > 40 + 8 * want.at_most:
                break
            tried += 1
            try:
                ext = write(want.package, taken, name, opener)
            except Exception as e:  # a broken file in a package is of no interest
                if os.environ.get('NOSONAR_DEBUG'):
                    say(f'{want.package}: {name}: {type(e).__name__}: {e}')
                continue
            if ext:
                table.write(f'{want.package}__{taken:03d}{ext}\t{want.package}\t{want.version}\t{name}\n')
                taken += 1
        table.flush()
        counts[want.package] = (taken, want.version, licences(tree, want.package))
        say(f'{want.package}: {taken} of {len(found)}')
    return counts


def fresh(folder):
    os.makedirs(folder, exist_ok=True)
    for f in os.listdir(folder):
        os.remove(os.path.join(folder, f))


def score_set(folder, wants, rejected, seed, seen, work):
    fresh(folder)

    def write(package, n, name, opener):
        data, ext = opener()
        im, changed = decode(data, ext, SCORE_LONGEST)
        if not worth(im):
            return None
        exact, h = hashlib.sha256(im.tobytes()).digest(), looks(im)
        if exact in seen.exact or seen.near(h, SAME_SET):
            return None
        photo = ext in ('.jpg', '.jpeg')
        if changed:
            # Not the fit's quality: the score shall see what a user's file looks like.
            data = jpeg(im, 92) if photo else png(im)
        seen.add(exact, h)
        kind = '.jpg' if photo else '.png'
        with open(os.path.join(folder, f'{package}__{n:03d}{kind}'), 'wb') as f:
            f.write(data)
        return kind

    with open(folder.rstrip('/') + '.tsv', 'w', encoding='utf-8') as table:
        return gather(wants, rejected, seed, write, table, work)


def png(im):
    out = io.BytesIO()
    im.save(out, 'PNG')
    return out.getvalue()


def fit_set(folder, wants, rejected, seed, other, work):
    fresh(folder)
    seen = Seen()

    def keep(package, n, name, im):
        if not worth(im):
            return None
        exact, h = hashlib.sha256(im.tobytes()).digest(), looks(im)
        if exact in seen.exact or exact in other.exact or seen.near(h, SAME_SET) or other.near(h, OTHER_SET):
            return None
        seen.add(exact, h)
        if im.mode == 'RGB' and unit(seed, 'grey', name) < GREY_SHARE:
            im = im.convert('L')
        with open(os.path.join(folder, f'{package}__{n:03d}.jpg'), 'wb') as f:
            f.write(small_jpeg(im, unit(seed, 'cut', name)))
        return '.jpg'

    def write(package, n, name, opener):
        data, ext = opener()
        im, _ = decode(data, ext, FIT_LONGEST)
        return keep(package, n, name, im)

    with open(folder.rstrip('/') + '.tsv', 'w', encoding='utf-8') as table:
        n = 0
        for kind, draw in enumerate(DRAWN):
            for i in range(EACH_DRAWN):
                rng = np.random.default_rng([seed, kind, i])
                a = draw(rng)
                im = Image.fromarray(a if a.ndim == 2 else np.ascontiguousarray(a[:, :, ::-1]))
                im.thumbnail((FIT_LONGEST, FIT_LONGEST))
                # The hash tells no two fields of noise apart for certain, so ours are kept unless equal.
                exact = hashlib.sha256(im.tobytes()).digest()
                if exact in seen.exact:
                    continue
                seen.exact.add(exact)
                with open(os.path.join(folder, f'drawn__{n:03d}.jpg'), 'wb') as f:
                    f.write(small_jpeg(im, unit(seed, 'cut', kind, i)))
                table.write(f'drawn__{n:03d}.jpg\tdrawn\t\t{draw.__name__}\n')
                n += 1
        counts = gather(wants, rejected, seed, write, table, work)
    counts['drawn'] = (n, '', '')
    shrink_folder(folder)
    return counts


def shrink_folder(folder):
    """Scales the largest pictures down until the folder fits."""
    sizes = {f: os.path.getsize(os.path.join(folder, f)) for f in sorted(os.listdir(folder))}
    while sum(sizes.values()) > FIT_BYTES:
        f = max(sizes, key=lambda k: (sizes[k], k))
        path = os.path.join(folder, f)
        with Image.open(path) as im:
            data = jpeg(im.resize([max(MIN_SIDE, round(s * 0.8)) for s in im.size], Image.LANCZOS))
        if len(data) >= sizes[f]:
            break
        with open(path, 'wb') as out:
            out.write(data)
        sizes[f] = len(data)


# ---- drawn pictures -----------------------------------------------------------------------------------------------
# Each takes a random generator and returns a grey or BGR picture. What they invent is what a reader would most easily
# take for a record: noise, stripes, waterfalls, other kinds of sounding, charts; and what users have on their disks.

EACH_DRAWN = 24
MAPS = [cv2.COLORMAP_HOT, cv2.COLORMAP_BONE, cv2.COLORMAP_JET, cv2.COLORMAP_VIRIDIS, cv2.COLORMAP_INFERNO,
        cv2.COLORMAP_PINK, cv2.COLORMAP_OCEAN, cv2.COLORMAP_AUTUMN, cv2.COLORMAP_TURBO]
WORDS = ('the of water chapter figure table shown result value depth north light and were from which each after before '
         'river stone letter system number between section large small first second measured report page house field '
         'year under long time order part public work great most during upon').split()
FONTS = [cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX, cv2.FONT_HERSHEY_TRIPLEX,
         cv2.FONT_HERSHEY_COMPLEX_SMALL, cv2.FONT_HERSHEY_PLAIN]


def size(rng):
    return int(rng.integers(220, 481)), int(rng.integers(220, 481))


def colour(rng, low=0, high=256):
    return tuple(int(v) for v in rng.integers(low, high, 3))


def as8(a):
    low, high = np.percentile(a, (0.5, 99.5))
    return np.uint8(np.clip((a - low) / max(high - low, 1e-9), 0, 1) * 255)


def tinted(rng, grey, plain=0.4):
    return grey if rng.random() < plain else cv2.applyColorMap(grey, MAPS[rng.integers(len(MAPS))])


def power_noise(rng, h, w, exponent, stretch_x=1.0):
    fy, fx = np.fft.fftfreq(h)[:, None], np.fft.rfftfreq(w)[None, :] * stretch_x
    f = np.hypot(fy, fx)
    f[0, 0] = 1
    spectrum = np.fft.rfft2(rng.standard_normal((h, w))) / f ** (exponent / 2)
    spectrum[0, 0] = 0
    a = np.fft.irfft2(spectrum, (h, w))
    return a / a.std()


def sentence(rng, letters):
    out = ''
    while len(out) < letters:
        out += (WORDS[rng.integers(len(WORDS))] if rng.random() < 0.93 else str(rng.integers(1, 2000))) + ' '
    return out[:letters].strip()


def white_noise(rng):
    h, w = size(rng)
    kind = rng.integers(5)
    if kind == 0:
        a = rng.normal(rng.uniform(60, 190), rng.uniform(10, 70), (h, w))
    elif kind == 1:
        a = rng.rayleigh(rng.uniform(20, 70), (h, w))
    elif kind == 2:
        a = rng.exponential(rng.uniform(20, 70), (h, w))
    elif kind == 3:
        a = rng.integers(0, 256, (h, w, 3))
    else:
        a = (rng.random((h, w)) < rng.uniform(0.02, 0.5)) * 255
    a = np.uint8(np.clip(a, 0, 255))
    if rng.random() < 0.4:
        a = cv2.GaussianBlur(a, (0, 0), float(rng.uniform(0.5, 3)))
    return a if a.ndim == 3 else tinted(rng, a, 0.6)


def cloud_noise(rng):
    h, w = size(rng)
    return tinted(rng, as8(power_noise(rng, h, w, rng.uniform(0.6, 3.4), rng.choice([1, 1, 0.25, 4]))), 0.5)


def stripes(rng):
    h, w = size(rng)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    a = np.zeros((h, w))
    for _ in range(rng.integers(1, 4)):
        t = rng.choice([0, math.pi / 2, rng.uniform(0, math.pi)])
        bend = power_noise(rng, h, w, 3) * rng.choice([0, 0, 2, 8])
        a += np.sin((x * math.cos(t) + y * math.sin(t) + bend) * 2 * math.pi / rng.uniform(4, 60) + rng.uniform(0, 6))
    if rng.random() < 0.4:
        a = np.sign(a)
    return tinted(rng, as8(a + rng.normal(0, rng.choice([0, 0.1, 0.5]), a.shape)), 0.4)


def checks(rng):
    h, w = size(rng)
    p = int(rng.integers(6, 60))
    y, x = np.mgrid[0:h, 0:w]
    kind = rng.integers(3)
    if kind == 0:
        on = ((x // p + y // p) % 2) == 0
    elif kind == 1:
        on = (x % p < max(1, p // 8)) | (y % p < max(1, p // 8))
    else:
        on = np.hypot(x % p - p / 2, y % p - p / 2) < p * rng.uniform(0.15, 0.45)
    a = np.where(on[:, :, None], np.uint8(colour(rng)), np.uint8(colour(rng)))
    if rng.random() < 0.5:
        corners = np.float32([[0, 0], [w, 0], [w, h], [0, h]])
        moved = corners + rng.uniform(-0.2, 0.2, (4, 2)).astype(np.float32) * [w, h]
        m = cv2.getPerspectiveTransform(corners, np.float32(moved))
        a = cv2.warpPerspective(a, m, (w, h), borderMode=cv2.BORDER_REFLECT)
    return a


def gradient(rng):
    h, w = size(rng)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    if rng.random() < 0.5:
        t = rng.uniform(0, 2 * math.pi)
        g = x * math.cos(t) + y * math.sin(t)
    else:
        g = np.hypot(x - rng.uniform(0, w), y - rng.uniform(0, h))
    g = (g - g.min()) / np.ptp(g)
    stops = np.sort(np.r_[0, rng.random(rng.integers(0, 4)), 1])
    shades = rng.integers(0, 256, (len(stops), 3))
    a = np.stack([np.interp(g, stops, shades[:, c]) for c in range(3)], -1)
    a += rng.normal(0, rng.choice([0, 2, 8]), a.shape)
    return np.uint8(np.clip(a, 0, 255))


def axes(rng, h, w):
    dark = rng.random() < 0.25
    a = np.full((h, w, 3), 20 if dark else 255, np.uint8)
    ink = (210, 210, 210) if dark else (20, 20, 20)
    box = (40, 24, w - 14, h - 34)
    if rng.random() < 0.5:
        for k in range(1, 8):
            x, y = box[0] + (box[2] - box[0]) * k // 8, box[1] + (box[3] - box[1]) * k // 8
            cv2.line(a, (x, box[1]), (x, box[3]), (120, 120, 120), 1)
            cv2.line(a, (box[0], y), (box[2], y), (120, 120, 120), 1)
    cv2.rectangle(a, box[:2], box[2:], ink, 1)
    for k in range(6):
        x, y = box[0] + (box[2] - box[0]) * k // 5, box[3] - (box[3] - box[1]) * k // 5
        cv2.putText(a, str(k * 10), (x - 6, box[3] + 14), FONTS[0], 0.33, ink, 1, cv2.LINE_AA)
        cv2.putText(a, f'{k * 0.2:.1f}', (8, y + 4), FONTS[0], 0.33, ink, 1, cv2.LINE_AA)
    cv2.putText(a, sentence(rng, 24), (w // 4, 16), FONTS[0], 0.42, ink, 1, cv2.LINE_AA)
    return a, box, ink


def curves(rng):
    h, w = size(rng)
    a, (x0, y0, x1, y1), _ = axes(rng, h, w)
    x = np.arange(x0 + 1, x1)
    for _ in range(rng.integers(1, 7)):
        y = np.cumsum(rng.standard_normal(len(x))) if rng.random() < 0.5 else np.sin(x / rng.uniform(4, 60))
        y = y + rng.normal(0, rng.choice([0, 0.1, 0.6]), len(x))
        y = (y - y.min()) / max(np.ptp(y), 1e-6) * rng.uniform(0.3, 0.9) + rng.uniform(0, 0.1)
        points = np.stack([x, y1 - y * (y1 - y0)], -1).astype(np.int32)
        cv2.polylines(a, [points], False, colour(rng, 0, 210), int(rng.integers(1, 3)), cv2.LINE_AA)
    return a


def bars_and_dots(rng):
    h, w = size(rng)
    a, (x0, y0, x1, y1), ink = axes(rng, h, w)
    kind = rng.integers(3)
    if kind == 0:
        n = int(rng.integers(4, 40))
        for k in range(n):
            left, right = x0 + (x1 - x0) * k // n + 1, x0 + (x1 - x0) * (k + 1) // n - 2
            cv2.rectangle(a, (left, int(rng.integers(y0 + 2, y1))), (right, y1 - 1), colour(rng, 0, 230), -1)
    elif kind == 1:
        for _ in range(rng.integers(1, 5)):
            c, middle = colour(rng, 0, 230), rng.uniform(0.2, 0.8, 2)
            for px, py in rng.normal(middle, rng.uniform(0.03, 0.15), (int(rng.integers(20, 300)), 2)):
                p = (int(x0 + np.clip(px, 0, 1) * (x1 - x0)), int(y0 + np.clip(py, 0, 1) * (y1 - y0)))
                cv2.circle(a, p, 2, c, -1, cv2.LINE_AA)
    else:
        a[:] = a[0, 0]
        r, start = min(h, w) // 3, 0.0
        for part in rng.dirichlet(np.ones(rng.integers(3, 9))):
            cv2.ellipse(a, (w // 2, h // 2), (r, r), 0, start, start + part * 360, colour(rng), -1, cv2.LINE_AA)
            start += part * 360
        cv2.circle(a, (w // 2, h // 2), r, ink, 1, cv2.LINE_AA)
    return a


def page(rng):
    h, w = int(rng.integers(380, 481)), int(rng.integers(280, 400))
    paper = int(rng.integers(205, 256))
    a = np.full((2 * h, 2 * w), paper, np.uint8)
    font, scale = FONTS[rng.integers(len(FONTS))], float(rng.uniform(0.45, 0.9))
    step = int(34 * scale) + int(rng.integers(2, 10))
    columns = int(rng.choice([1, 1, 2]))
    for c in range(columns):
        y = 60
        while y < 2 * h - 50:
            left, wide = 50 + c * (2 * w - 60) // columns, (2 * w - 100) // columns - 20
            if rng.random() < 0.06:
                y += step
                continue
            if rng.random() < 0.03 and y < 2 * h - 250:
                cv2.rectangle(a, (left, y), (left + wide, y + 150), 90, 2)
                y += 150 + step
                continue
            letters = int(wide / (18 * scale) * (1 if rng.random() < 0.85 else rng.uniform(0.3, 0.9)))
            cv2.putText(a, sentence(rng, max(letters, 3)), (left, y), font, scale, int(rng.integers(0, 70)), 1,
                        cv2.LINE_AA)
            y += step
    a = cv2.resize(a, (w, h), interpolation=cv2.INTER_AREA)
    if rng.random() < 0.6:  # as a scanner leaves it: askew, shaded towards a fold, speckled
        m = cv2.getRotationMatrix2D((w / 2, h / 2), float(rng.normal(0, 2.5)), 1)
        a = cv2.warpAffine(a, m, (w, h), borderValue=int(rng.integers(0, 120)))
        shade = 1 - rng.uniform(0, 0.5) * np.exp(-np.arange(w) / rng.uniform(20, 120))
        a = np.uint8(np.clip(a * shade[None, :] + rng.normal(0, rng.uniform(0, 9), a.shape), 0, 255))
    return a


def spectrogram(rng):
    h, w = size(rng)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    a = rng.rayleigh(0.25, (h, w)) * np.exp(-(h - y) / h * rng.uniform(0, 2))
    for _ in range(rng.integers(1, 7)):
        base = rng.uniform(0.1, 0.95) * h
        track = base + rng.uniform(-0.3, 0.3) * h * (x / w) + rng.uniform(0, 25) * np.sin(x / rng.uniform(8, 60))
        gate = (np.sin(x / rng.uniform(10, 80) + rng.uniform(0, 6)) > rng.uniform(-1, 0.6))
        for overtone in range(rng.integers(1, 7)):
            a += gate * rng.uniform(0.4, 2) / (overtone + 1) * np.exp(
                -((y - (h - (h - track) * (overtone + 1))) / rng.uniform(1, 4)) ** 2)
    for _ in range(rng.integers(0, 6)):
        a += 1.2 * np.exp(-((x - rng.uniform(0, w)) / rng.uniform(1, 4)) ** 2)
    return tinted(rng, as8(np.log(a + 0.02)), 0.2)


def waterfall_noise(rng):
    h, w = size(rng)
    a = rng.rayleigh(1.0, (h, w)) * (1 + rng.normal(0, rng.uniform(0, 0.25), (h, 1)))
    a *= 1 + rng.normal(0, rng.uniform(0, 0.2), (1, w))
    for _ in range(rng.integers(0, 5)):
        a[:, int(rng.integers(w))] *= rng.uniform(1.5, 4)
    if rng.random() < 0.4:
        a = cv2.GaussianBlur(a, (0, 0), float(rng.uniform(0.4, 1.6)))
    return tinted(rng, as8(a), 0.4)


def down_sounder(rng):
    """A record of an invented sounder that looks straight down: time runs along, depth down, one bottom line."""
    h, w = int(rng.integers(200, 400)), int(rng.integers(320, 481))
    y = np.arange(h)[:, None].astype(np.float32)
    line = np.cumsum(np.convolve(rng.standard_normal(w + 40), np.ones(41) / 41, 'valid'))
    line = h * rng.uniform(0.35, 0.7) + (line - line.mean()) / max(np.ptp(line), 1e-6) * h * rng.uniform(0.05, 0.45)
    line = np.clip(line, h * 0.15, h * 0.9)[None, :]
    below = np.clip(y - line, 0, None)
    a = np.where(y >= line, rng.uniform(0.6, 1) * np.exp(-below / rng.uniform(15, 90)) + 0.25 * rng.random(), 0.0)
    a = a * rng.gamma(6, 1 / 6, (h, w)) + 0.05 * rng.rayleigh(1, (h, w))
    if rng.random() < 0.6:  # the bottom's second echo
        a += 0.35 * np.exp(-((y - 2 * line) / 14) ** 2) * rng.random((h, w))
    a[:int(rng.integers(3, 16))] += rng.uniform(0.3, 1)
    picture = np.uint8(np.clip(a, 0, 1) * 255)
    for _ in range(rng.integers(0, 14)):
        cx = int(rng.integers(w))
        cy = int(rng.uniform(0.1, 0.95) * line[0, cx])
        cv2.ellipse(picture, (cx, cy), (int(rng.integers(5, 16)), int(rng.integers(3, 9))), 0, 200, 340,
                    int(rng.integers(90, 255)), int(rng.integers(1, 4)), cv2.LINE_AA)
    picture = tinted(rng, picture, 0.3)
    if rng.random() < 0.5:
        picture = cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR) if picture.ndim == 2 else picture
        for k in range(5):
            cv2.putText(picture, str(k * 5), (w - 28, 12 + k * (h - 16) // 4), FONTS[0], 0.38, (255, 255, 255), 1)
    return picture


def depth_chart(rng):
    h, w = size(rng)
    field = cv2.GaussianBlur(power_noise(rng, h, w, 3.2), (0, 0), 3)
    land = rng.uniform(0.3, 1.4)
    a = np.full((h, w, 3), 255, np.uint8)
    shades = [(250, 225, 190), (252, 238, 218), (255, 250, 244)] if rng.random() < 0.7 else [(235,) * 3, (245,) * 3, (255,) * 3]
    for level, shade in zip((land, land - 0.5, land - 1.1), shades):
        a[field < level] = shade
    a[field >= land] = (150, 215, 240) if shades[0][0] != shades[0][2] else (200, 200, 200)
    for k in range(9):
        rim, _ = cv2.findContours(np.uint8(field > land - 0.35 * k), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(a, rim, -1, (60, 60, 60) if k == 0 else (170, 120, 70), 2 if k == 0 else 1, cv2.LINE_AA)
    for _ in range(int(h * w / 2200)):
        x, y = int(rng.integers(4, w - 20)), int(rng.integers(12, h - 4))
        if field[y, x] < land:
            cv2.putText(a, str(int((land - field[y, x]) * 11) + 1), (x, y), FONTS[0], 0.3, (50, 50, 50), 1, cv2.LINE_AA)
    if rng.random() < 0.6:
        for k in range(1, 4):
            cv2.line(a, (w * k // 4, 0), (w * k // 4, h), (120, 120, 120), 1)
            cv2.line(a, (0, h * k // 4), (w, h * k // 4), (120, 120, 120), 1)
    return a


def windows(rng):
    h, w = int(rng.integers(260, 400)), int(rng.integers(400, 481))
    dark = rng.random() < 0.4
    a = np.full((h, w, 3), colour(rng, 0, 120), np.uint8)
    for _ in range(rng.integers(1, 4)):
        x, y = int(rng.integers(0, w // 2)), int(rng.integers(0, h // 2))
        ww, hh = int(rng.integers(150, w)), int(rng.integers(110, h))
        ground, ink = ((38, 36, 34), (220, 220, 220)) if dark else ((244, 244, 244), (30, 30, 30))
        cv2.rectangle(a, (x, y), (x + ww, y + hh), ground, -1)
        cv2.rectangle(a, (x, y), (x + ww, y + 18), colour(rng, 40, 200), -1)
        cv2.putText(a, sentence(rng, 18), (x + 6, y + 13), FONTS[0], 0.36, (255, 255, 255), 1, cv2.LINE_AA)
        for row in range(y + 34, y + hh - 8, 15):
            if rng.random() < 0.15:
                cv2.rectangle(a, (x + 10, row - 9), (x + 70, row + 3), colour(rng, 60, 220), -1)
            letters = int(rng.integers(6, max(8, ww // 8)))
            cv2.putText(a, sentence(rng, letters), (x + 80, row), FONTS[0], 0.33, ink, 1, cv2.LINE_AA)
    return a


def shapes(rng):
    h, w = size(rng)
    a = np.full((h, w, 3), colour(rng) if rng.random() < 0.5 else (255, 255, 255), np.uint8)
    outlined = rng.random() < 0.4
    for _ in range(rng.integers(4, 50)):
        c, thick = ((20, 20, 20), int(rng.integers(1, 4))) if outlined else (colour(rng), int(rng.choice([-1, -1, 2, 4])))
        p = (int(rng.integers(w)), int(rng.integers(h)))
        kind = rng.integers(4)
        if kind == 0:
            cv2.circle(a, p, int(rng.integers(4, 70)), c, thick, cv2.LINE_AA)
        elif kind == 1:
            cv2.ellipse(a, p, (int(rng.integers(4, 90)), int(rng.integers(4, 60))), float(rng.uniform(0, 180)), 0, 360, c,
                        thick, cv2.LINE_AA)
        elif kind == 2:
            cv2.rectangle(a, p, (int(rng.integers(w)), int(rng.integers(h))), c, thick)
        else:
            corners = np.int32(rng.normal(p, 40, (int(rng.integers(3, 8)), 2)))
            cv2.polylines(a, [corners], True, c, abs(thick), cv2.LINE_AA)
    return a


def grain(rng):
    """Wood, weave and marble as formulas give them."""
    h, w = size(rng)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    kind = rng.integers(3)
    if kind == 0:
        rings = np.hypot((x - rng.uniform(-w, 2 * w)) * rng.uniform(0.03, 0.4), y - rng.uniform(0, h))
        a = np.mod(rings / rng.uniform(5, 25) + power_noise(rng, h, w, 3) * 0.4, 1) + power_noise(rng, h, w, 1, 6) * 0.15
    elif kind == 1:
        p = rng.uniform(4, 14)
        over = (np.floor(x / p) + np.floor(y / p)) % 2 == 0
        a = np.where(over, np.sin(np.pi * (x % p) / p), np.sin(np.pi * (y % p) / p)) + rng.normal(0, 0.15, (h, w))
    else:
        a = np.abs(np.sin((x + y) / rng.uniform(20, 80) + 2.5 * power_noise(rng, h, w, 3.4)))
    g = as8(a)
    if rng.random() < 0.3:
        return g
    low, high = np.float32(colour(rng, 0, 90)), np.float32(colour(rng, 110, 256))
    return np.uint8(low + (high - low) * (g[:, :, None] / 255.0))


def codes(rng):
    h, w = size(rng)
    kind = rng.integers(3)
    if kind == 0:  # colour bars
        n = int(rng.integers(5, 13))
        a = np.uint8([colour(rng) for _ in range(n)])[np.arange(w) * n // w]
        a = np.repeat(a[None], h, 0).copy()
        a[h * 3 // 4:] = np.uint8(np.linspace(0, 255, w))[None, :, None]
    elif kind == 1:  # a bar code
        a = np.full((h, w), 255, np.uint8)
        x = w // 10
        while x < w * 9 // 10:
            wide = int(rng.integers(1, 6))
            a[h // 6:h * 5 // 6, x:x + wide] = 0
            x += wide + int(rng.integers(1, 6))
        cv2.putText(a, str(rng.integers(10**9, 10**11)), (w // 4, h * 5 // 6 + 20), FONTS[0], 0.5, 0, 1)
    else:  # a block code
        n = int(rng.integers(17, 49))
        a = cv2.resize(np.uint8(rng.integers(0, 2, (n, n)) * 255), (w, w), interpolation=cv2.INTER_NEAREST)
        a = cv2.copyMakeBorder(a, 20, 20, 20, 20, cv2.BORDER_CONSTANT, value=255)
    return a


def fan(rng):
    """What an invented sounder of many beams shows, or one that turns: echoes over angle and range, round where it is.

    Blocks of strong echo stand before shadows that reach to the far end; some blocks are dark by themselves."""
    h, w = size(rng)
    ranges, beams = int(rng.integers(90, 320)), int(rng.integers(90, 320))
    clouds = power_noise(rng, ranges, beams, rng.uniform(1.5, 3))
    a = rng.rayleigh(1, (ranges, beams)) * np.exp(rng.uniform(0.2, 1.1) * clouds)
    for _ in range(rng.integers(0, 6)):
        near, left = int(rng.uniform(0, 0.9) * ranges), int(rng.uniform(0, 0.95) * beams)
        across = slice(left, left + int(rng.uniform(0.04, 0.35) * beams))
        far = near + int(rng.uniform(0.03, 0.25) * ranges)
        if rng.random() < 0.6:
            a[near:far, across] *= rng.uniform(1.5, 6)
            if rng.random() < 0.6:
                a[far:, across] *= rng.uniform(0.05, 0.4)
        else:
            a[near:far, across] *= rng.uniform(0.02, 0.4)
    if rng.random() < 0.4:
        a = cv2.GaussianBlur(a, (0, 0), float(rng.uniform(0.4, 1)))
    echo = np.uint8(np.clip(a / np.percentile(a, rng.uniform(95, 99)), 0, 1) * 255)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    if rng.random() < 0.4:
        x, y, span = x - w * rng.uniform(0.3, 0.7), y - h * rng.uniform(0.3, 0.7), 2 * math.pi
        reach, hole = rng.uniform(0.5, 0.9) * max(h, w), rng.uniform(0.1, 0.45)
    else:
        x, y, span = x - w * rng.uniform(0.4, 0.6), y - h * rng.uniform(-0.2, 0.1), rng.uniform(0.9, 2.2)
        reach = rng.uniform(0.8, 1.2) * max(h, 0.8 * w)
        hole = rng.uniform(0.01, 0.08) if rng.random() < 0.5 else rng.uniform(0.08, 0.35)
    across = (np.arctan2(x, y) / span + 0.5) * (beams - 1)
    along = (np.hypot(x, y) / reach - hole) / (1 - hole) * (ranges - 1)
    between = cv2.INTER_NEAREST if rng.random() < 0.5 else cv2.INTER_LINEAR
    picture = cv2.remap(echo, np.float32(across), np.float32(along), between, borderMode=cv2.BORDER_CONSTANT,
                        borderValue=int(rng.integers(0, 30)))
    if rng.random() < 0.1:
        picture = np.ascontiguousarray(np.rot90(picture, rng.choice([1, 3])))
    return tinted(rng, picture, 0.5)


def layers(rng):
    """A section through folded layers, as sounding into the ground gives it."""
    h, w = size(rng)
    y = np.arange(h)[:, None].astype(np.float32)
    fold = np.cumsum(np.convolve(rng.standard_normal(w + 40), np.ones(41) / 41, 'valid'))
    fold = (fold - fold.mean()) / max(np.ptp(fold), 1e-6) * h * rng.uniform(0.06, 0.35)
    depth = y + fold[None, :] * (1 + rng.uniform(-1, 0.3) * y / h)
    echo = rng.standard_normal(2 * h) * np.exp(rng.uniform(0.2, 0.8) * rng.standard_normal(2 * h))
    echo = cv2.GaussianBlur(echo[:, None], (0, 0), float(rng.uniform(0.4, 1.8)))[:, 0]
    if rng.random() < 0.65:
        echo = np.abs(echo)
    a = np.interp(depth + h / 2, np.arange(2 * h), echo / echo.std())
    return tinted(rng, as8(a + rng.normal(0, rng.choice([0.1, 0.3, 0.6, 1.2]), a.shape)), 0.5)


# The last two are written anew after pictures of theirs: the code that the fit's came of is lost. The others draw the fit's
# own again, so the order stays: a kind's place is part of what its generator starts from.
def night_sky(rng):
    """Stars, clusters and nebulae as a telescope's camera stores them: specks on dark, which far bottom is too."""
    h, w = size(rng)
    a = rng.uniform(0, 40) + rng.uniform(0, 18) * power_noise(rng, h, w, 3)
    y, x = np.mgrid[0:h, 0:w]
    for _ in range(rng.integers(4)):
        t, cx, cy = rng.uniform(0, math.pi), rng.uniform(0, w), rng.uniform(0, h)
        long, short = rng.uniform(5, 120, 2)
        u, v = (x - cx) * math.cos(t) + (y - cy) * math.sin(t), (y - cy) * math.cos(t) - (x - cx) * math.sin(t)
        a += rng.uniform(20, 160) * np.exp(-np.hypot(u / long, v / short) * rng.uniform(0.8, 2))
    n = int(np.exp(rng.uniform(math.log(40), math.log(6000))))
    at_x, at_y = rng.integers(0, w, n), rng.integers(0, h, n)
    if rng.random() < 0.3:
        at_x[: n // 2] = np.clip(rng.normal(w / 2, w / 10, n // 2), 0, w - 1)
        at_y[: n // 2] = np.clip(rng.normal(h / 2, h / 10, n // 2), 0, h - 1)
    stars = np.zeros((h, w))
    np.add.at(stars, (at_y, at_x), (rng.pareto(rng.uniform(0.7, 1.6), n) + 0.1) * rng.uniform(40, 400))
    s = rng.uniform(0.5, 2.2)
    a += np.minimum(cv2.GaussianBlur(stars, (0, 0), s) + 0.06 * cv2.GaussianBlur(stars, (0, 0), 3 * s), 900)
    a += rng.normal(0, rng.uniform(0, 18), a.shape)
    if rng.random() < 0.3:
        a = 80 * np.log1p(np.maximum(a, 0) / rng.uniform(3, 40))
    a = np.uint8(np.clip(a, 0, 255))
    a = tinted(rng, 255 - a if rng.random() < 0.3 else a, 0.7)
    if rng.random() < 0.35:
        for _ in range(rng.integers(1, 12)):
            c, at = colour(rng, 60), (int(rng.integers(w)), int(rng.integers(h)))
            mark = rng.integers(3)
            if mark == 0:
                cv2.circle(a, at, int(rng.integers(5, 40)), c, 1)
            elif mark == 1:
                cv2.putText(a, f'{rng.uniform(0, 24):.2f}', at, FONTS[rng.integers(len(FONTS))], 0.5, c, 1)
            else:
                cv2.line(a, (at[0], 0), (at[0], h), c, 1)
    return a


DRAWN = [white_noise, cloud_noise, stripes, checks, gradient, curves, bars_and_dots, page, spectrogram, waterfall_noise,
         down_sounder, depth_chart, windows, shapes, grain, codes, fan, layers, *[night_sky] * 8]


# ---- the command --------------------------------------------------------------------------------------------------

def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument('--seed', type=int, default=1)
    args.add_argument('fit')
    args.add_argument('score')
    a = args.parse_args()

    fit, fit_rejected = read_list(os.path.join(HERE, 'nosonar-fit.txt'))
    score, score_rejected = read_list(os.path.join(HERE, 'nosonar-score.txt'))
    both = {w.package for w in fit} & {w.package for w in score}
    if both:
        sys.exit(f'in both lists: {" ".join(sorted(both))}')

    seen = Seen()
    with tempfile.TemporaryDirectory(prefix='nosonar-') as work:
        os.chmod(work, 0o755)
        # The score first: the fit gives way where both have a picture.
        for name, counts in (('score', score_set(a.score, score, score_rejected, a.seed, seen, os.path.join(work, 's'))),
                             ('fit', fit_set(a.fit, fit, fit_rejected, a.seed, seen, os.path.join(work, 'f')))):
            for package, about in counts.items():
                print(name, package, *about, sep='\t')
            print(name, 'all', sum(about[0] for about in counts.values()), sep='\t')


if __name__ == '__main__':
    main()
