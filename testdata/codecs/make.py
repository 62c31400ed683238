#!/usr/bin/python3
"""Makes compressed frames with outside encoders, and the pixels they must decode to.

    make.py OUT [--codec jpeglossless|jpegls|rle|jpeg2000] [--small]

Synthetic images (seeded) are written as DICOM, encoded by Debian's dcmtk (dcmcjpeg, dcmcjpls, dcmcrle) and gdcmconv, and
the one frame of each is written to OUT as NAME.bin. TRUTH.raw holds little-endian pixels, 8 or 16 bit as allocated:
the original's for a lossless encoding, the outside decoder's for a lossy one. vectors.csv names what belongs together.
--small makes the committed set.

Needs python3-pydicom and python3-numpy; an encoder that is absent is named on stderr, and its vectors are left out.
"""
import argparse, csv, hashlib, io, os, shutil, subprocess, sys, tempfile

import numpy as np
import pydicom
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import generate_pixel_data_frame
from pydicom.uid import ExplicitVRLittleEndian

COLUMNS = "name codec columns rows allocated stored signed truth original near tool sha256".split()


def limits(stored, signed):
    return (-(1 << stored - 1), (1 << stored - 1) - 1) if signed else (0, (1 << stored) - 1)


def ct(columns, rows, stored, signed, seed):
    """A jaw-like disc: air, soft tissue, a dense arch, noise whose size follows the range."""
    low, high = limits(stored, signed)
    y, x = np.mgrid[0:rows, 0:columns].astype(float)
    u, v = (x + .5) / columns * 2 - 1, (y + .5) / rows * 2 - 1
    r = np.hypot(u, v)
    image = np.where(r < .9, .25, .02) + .35 * np.exp(-((np.hypot(u, v - .2) - .5) / .08) ** 2) * (v < .3)
    noise = np.random.default_rng(seed).normal(0, .006, image.shape)
    image += np.where(r < .97, noise, 0)          # a flat border, as outside a circular field
    return np.clip(low + (high - low) * image, low, high).round()


def images(small):
    """name, pixels, allocated, stored, signed"""
    kinds = [(8, 8, False), (16, 12, False), (16, 12, True), (16, 16, False), (16, 16, True)]
    side = (37, 29) if small else (151, 133)
    for allocated, stored, signed in kinds:
        low, high = limits(stored, signed)
        tag = f"{'s' if signed else 'u'}{stored}"
        columns, rows = side
        rng = np.random.default_rng(stored * 2 + signed)
        yield f"ct-{tag}", ct(columns, rows, stored, signed, 7), allocated, stored, signed
        yield f"noise-{tag}", rng.integers(low, high + 1, (rows // 2, columns)), allocated, stored, signed
        if small and (stored, signed) not in ((8, False), (16, True)):
            continue
        shapes = [(1, 1), (1, 23), (23, 1), (2, 2), (3, 5)] if not small else [(1, 1), (1, 23), (23, 1)]
        for c, r in shapes:
            yield f"n{c}x{r}-{tag}", rng.integers(low, high + 1, (r, c)), allocated, stored, signed
        x, y = np.meshgrid(np.arange(64), np.arange(16))
        yield f"flat-{tag}", np.full((16, 64), high), allocated, stored, signed
        yield f"zero-{tag}", np.zeros((16, 64)), allocated, stored, signed
        yield f"checks-{tag}", np.where((x + y) % 2, low, high), allocated, stored, signed
        yield f"slope-{tag}", (low + (high - low) * (x + 64 * y) / 1023).round(), allocated, stored, signed
        runs = np.repeat(rng.integers(low, high + 1, (16, 8)), 8, 1)
        yield f"runs-{tag}", runs, allocated, stored, signed


def write(path, pixels, allocated, stored, signed):
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID = "1.2.840.10008.5.1.4.1.1.7"
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID = "2.25.1"
    ds.StudyInstanceUID, ds.SeriesInstanceUID, ds.Modality = "2.25.2", "2.25.3", "OT"
    ds.PatientName = ds.PatientID = "SYNTHETIC"
    ds.Rows, ds.Columns = pixels.shape
    ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, "MONOCHROME2"
    ds.BitsAllocated, ds.BitsStored, ds.HighBit = allocated, stored, stored - 1
    ds.PixelRepresentation = int(signed)
    raw = raw_bytes(pixels, allocated)
    ds.PixelData = raw + b"\0" * (len(raw) % 2)
    ds["PixelData"].VR = "OB" if allocated == 8 else "OW"
    ds.is_little_endian, ds.is_implicit_VR = True, False
    ds.save_as(path, write_like_original=False)


def raw_bytes(pixels, allocated):
    return (pixels.astype(np.int64) & (1 << allocated) - 1).astype("<u2" if allocated == 16 else "u1").tobytes()


def encoders(codec, signed):
    """name of the vector, command with {} for input and output, near, decoder of a lossy one"""
    if codec == "jpeglossless":
        yield "sv1", "dcmcjpeg +e1 {} {}", 0, None
        for sv in range(1, 8):
            yield f"p{sv}", f"dcmcjpeg +el +sv {sv} {{}} {{}}", 0, None
        for pt in (1, 3):
            yield f"pt{pt}", f"dcmcjpeg +el +sv 5 +pt {pt} {{}} {{}}", (1 << pt) - 1, "dcmdjpeg {} {}"
        yield "gdcm", "gdcmconv --jpeg {} {}", 0, None
    if codec == "jpegls":
        yield "ls", "dcmcjpls +el {} {}", 0, None
        if not signed:  # dcmtk 3.6.7 writes signed noise so that libcharls 2.4.1 and our decoder both refuse it
            yield "cooked", "dcmcjpls +el +pc {} {}", 0, None
        yield "presets", "dcmcjpls +el +t1 5 +t2 11 +t3 40 +rs 31 {} {}", 0, None
        for near in (1, 2, 3) if not signed else ():  # dcmcjpls refuses signed near-lossless
            yield f"near{near}", f"dcmcjpls +en +md {near} {{}} {{}}", near, "dcmdjpls {} {}"
        yield "gdcm", "gdcmconv --jpegls {} {}", 0, None
        # gdcmconv codes 16 bits whatever is stored, so an error of 2 may wrap round the stored ones: no bound.
        yield "gdcm-near2", "gdcmconv --jpegls --lossy -e 2 {} {}", -1, "gdcmconv --raw {} {}"
    if codec == "rle":
        yield "dcmtk", "dcmcrle {} {}", 0, None
        yield "gdcm", "gdcmconv --rle {} {}", 0, None
    if codec == "jpeg2000":
        yield "gdcm", "gdcmconv --j2k {} {}", 0, None
        yield "tiles", "gdcmconv --j2k -t 32,32 {} {}", 0, None
        yield "levels3", "gdcmconv --j2k -n 3 {} {}", 0, None
        # A rate or quality gives a lossy image: the truth is then another decoder's, and 1 is its rounding.
        yield "lossy", "gdcmconv --j2k --irreversible -q 40 {} {}", -1, "gdcmconv --raw {} {}"


def frame_of(path):
    ds = pydicom.dcmread(path)
    return next(generate_pixel_data_frame(ds.PixelData, 1)), ds


def pixels_of(path):
    """The native pixels of a file that an outside decoder wrote."""
    ds = pydicom.dcmread(path)
    n = ds.Rows * ds.Columns * ds.BitsAllocated // 8
    return ds.PixelData[:n]


def run(command, *paths):
    return subprocess.run(command.format(*paths).split(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT)


def keep(image, encoder, codec, small):
    """The committed set leaves out what the whole set repeats."""
    if not small:
        return True
    if image.startswith("ct-"):
        return image in ("ct-s12", "ct-s16") or encoder in ("p1", "p7", "ls", "near2", "dcmtk", "gdcm")
    if image.startswith("noise-"):
        return encoder in ("p6", "p4", "ls", "near1", "gdcm")
    return encoder in ("p5", "ls", "near3", "gdcm")


def vectors(codec, small, work, out, absent):
    source, coded, decoded = (os.path.join(work, n) for n in ("in.dcm", "coded.dcm", "decoded.dcm"))
    for image, pixels, allocated, stored, signed in images(small):
        write(source, pixels, allocated, stored, signed)
        original = raw_bytes(pixels, allocated)
        for encoder, command, near, decoder in encoders(codec, signed):
            if not keep(image, encoder, codec, small):
                continue
            if not shutil.which(command.split()[0]):
                absent.add(command.split()[0])
                continue
            for path in (coded, decoded):
                if os.path.exists(path):
                    os.remove(path)
            ran = run(command, source, coded)
            if ran.returncode or not os.path.exists(coded):
                print(f"make.py: {image}: {command}: {ran.stdout.decode().strip()[-200:]}", file=sys.stderr)
                continue
            frame, ds = frame_of(coded)
            truth = original
            if decoder:
                run(decoder, coded, decoded)
                if not os.path.exists(decoded):
                    print(f"make.py: {image}: {command}: cannot be decoded again", file=sys.stderr)
                    continue
                truth = pixels_of(decoded)
            name = f"{codec}-{image}-{encoder}"
            with open(os.path.join(out, name + ".bin"), "wb") as f:
                f.write(frame)
            files = []
            for data in (truth, original):
                files.append("%s-%s.raw" % (image, hashlib.sha256(data).hexdigest()[:6]))
                with open(os.path.join(out, files[-1]), "wb") as f:
                    f.write(data)
            yield dict(zip(COLUMNS, [name, codec, ds.Columns, ds.Rows, ds.BitsAllocated, ds.BitsStored,
                                     ds.PixelRepresentation, *files, near, command.format("IN", "OUT"),
                                     hashlib.sha256(frame).hexdigest()]))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out")
    parser.add_argument("--codec", action="append", choices="jpeglossless jpegls rle jpeg2000".split())
    parser.add_argument("--small", action="store_true", help="the committed set")
    args = parser.parse_args()
    os.makedirs(args.out, exist_ok=True)
    absent = set()
    with tempfile.TemporaryDirectory() as work, open(os.path.join(args.out, "vectors.csv"), "w", newline="") as f:
        table = csv.DictWriter(f, COLUMNS, lineterminator="\n")
        table.writeheader()
        for codec in args.codec or "jpeglossless jpegls rle jpeg2000".split():
            for row in vectors(codec, args.small, work, args.out, absent):
                table.writerow(row)
    for tool in sorted(absent):
        print(f"make.py: {tool} is absent; its vectors are left out", file=sys.stderr)


if __name__ == "__main__":
    main()
