#!/usr/bin/python3
"""Makes compressed frames with outside encoders, and the pixels they must decode to.

    make.py OUT [--codec jpeglossless|jpegls|rle|jpeg2000] [--small] [--image NAME]

Synthetic images (seeded) are written as DICOM, encoded by Debian's dcmtk (dcmcjpeg, dcmcjpls, dcmcrle), gdcmconv and
opj_compress, and
the one frame of each is written to OUT, a folder or a .zip, as NAME.bin. TRUTH.raw holds little-endian pixels, 8 or 16 bit as allocated:
the original's for a lossless encoding, the outside decoder's for a lossy one. vectors.csv names what belongs together.
--small makes the committed set, frames.zip.

Needs python3-pydicom and python3-numpy; an encoder that is absent is named on stderr, and its vectors are left out.
"""
import argparse, csv, hashlib, os, shutil, subprocess, sys, tempfile, zipfile

import numpy as np
import pydicom
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import generate_pixel_data_frame
from pydicom.uid import ExplicitVRLittleEndian

COLUMNS = "name codec columns rows allocated stored signed truth within original near tool sha256".split()


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
    side = (37, 33) if small else (151, 133)
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
    """name of the vector, command with {} for input and output, near, decoder of a lossy one; -1 near is unbounded"""
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
        for name, options in OPJ.items():
            back = "opj_decompress -i {} -o {}" if "-I" in options or name.startswith("cut") else None
            yield name, f"opj_compress -i {{}} -o {{}} -F SHAPE {options}", -1 if back else 0, back


# What the codestream's own encoder can vary. -I is the irreversible wavelet, whose last bit is the decoder's own rounding.
OPJ = {
    "plain": "", "one": "-n 1", "two": "-n 2 -b 32,32", "wide": "-b 256,4", "tall": "-b 4,256",
    "shallow": "-n 4", "bypass": "-M 1 -b 16,16 -n 4", "reset": "-M 2", "termall": "-M 4", "causal": "-M 8", "segterm": "-M 16", "segmark": "-M 32",
    "bypass-termall": "-M 5", "every-mode": "-M 63 -b 32,16",
    "layers": "-r 8,4,2,1", "cut": "-r 6", "cut-layers": "-r 12,6 -M 1",
    "lrcp": "-p LRCP -c [32,32],[16,16] -n 4 -b 8,8 -r 9,3,1 -SOP -EPH", "rlcp": "-p RLCP -c [32,64],[16,16] -n 4 -b 8,8 -r 9,3,1 -SOP",
    "rpcl": "-p RPCL -c [64,32],[16,16] -n 4 -b 8,8 -r 9,3,1 -EPH", "pcrl": "-p PCRL -c [32,32],[16,8] -n 4 -b 8,8 -r 9,3,1",
    "cprl": "-p CPRL -c [16,32],[16,16],[4,4] -n 4 -b 8,8 -r 9,3,1",
    "tiles": "-t 64,40", "offset": "-d 7,9 -n 3", "tiles-offset": "-t 33,21 -T 3,5 -d 7,9 -p PCRL -c [16,16] -n 4",
    "tile-parts": "-t 64,64 -TP R -PLT -TLM", "tile-parts-layers": "-TP L -r 8,2,1",
    "guard": "-GuardBits 4",
    "i": "-I", "i-q": "-I -q 45", "i-tiles": "-I -r 8 -t 33,21 -T 3,5 -d 7,9 -n 4", "i-bypass": "-I -M 1 -r 4 -n 3",
}


def frame_of(path):
    ds = pydicom.dcmread(path)
    return next(generate_pixel_data_frame(ds.PixelData, 1))


def pixels_of(path):
    """The native pixels of a file that an outside decoder wrote."""
    ds = pydicom.dcmread(path)
    n = ds.Rows * ds.Columns * ds.BitsAllocated // 8
    return ds.PixelData[:n]


def run(command, *paths):
    """Some of the tools do not come back from sizes they cannot do."""
    try:
        return subprocess.run(command.format(*paths).split(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=20)
    except subprocess.TimeoutExpired:
        return subprocess.CompletedProcess(command, 1, b"did not end")


def encode(command, work, pixels, allocated, stored, signed):
    """The frame that command makes, or None."""
    plain = command.startswith("opj_")
    source, coded = (os.path.join(work, n) for n in (("in.rawl", "coded.j2k") if plain else ("in.dcm", "coded.dcm")))
    if os.path.exists(coded):
        os.remove(coded)
    if plain:
        with open(source, "wb") as f:
            f.write(raw_bytes(pixels, allocated))
        command = command.replace("SHAPE", f"{pixels.shape[1]},{pixels.shape[0]},1,{stored},{'s' if signed else 'u'}")
    else:
        write(source, pixels, allocated, stored, signed)
    ran = run(command, source, coded)
    if ran.returncode or not os.path.exists(coded):
        print(f"make.py: {command}: {ran.stdout.decode().strip()[-200:]}", file=sys.stderr)
        return None, None
    if plain:
        with open(coded, "rb") as f:
            return f.read(), coded
    return frame_of(coded), coded


def decode(command, work, coded):
    """The pixels that command makes of a coded file, or None."""
    decoded = os.path.join(work, "decoded.rawl" if command.startswith("opj_") else "decoded.dcm")
    if os.path.exists(decoded):
        os.remove(decoded)
    run(command, coded, decoded)
    if not os.path.exists(decoded):
        print(f"make.py: {command}: cannot be decoded again", file=sys.stderr)
        return None
    if decoded.endswith(".dcm"):
        return pixels_of(decoded)
    with open(decoded, "rb") as f:
        return f.read()


def keep(image, encoder, codec, small):
    """The committed set leaves out what the whole set repeats."""
    if not small:
        return True
    if codec == "jpeg2000" and image == "ct-s16":
        return encoder in ("gdcm", "layers", "every-mode", "i", "i-q")
    if image.startswith("ct-"):
        return image in ("ct-s12", "ct-s16") or encoder in ("p1", "p7", "ls", "near2", "dcmtk", "gdcm", "every-mode", "i-q")
    if image.startswith("noise-"):
        return encoder in ("p6", "p4", "ls", "near1", "gdcm", "bypass")
    return encoder in ("p5", "ls", "near3", "gdcm", "shallow")


def within(command, stored):
    """How far the outside decoder's pixels may be from ours: 0 but for the irreversible wavelet.

    There opj_decompress 2.5.0 takes 1.625732422 for twice the high-pass factor, T.800 table F.4 gives 2/K = 1.625786132. Of
    the samples of 16 bits that is up to 3. With its number in our filter there is no difference in any of 34 frames of 16 bits;
    with the standard's our error is the smaller (root mean square 0.26 against 0.39 on ct-u16-i).
    """
    return 0 if " -I" not in command else 1 if stored <= 12 else 4


def vectors(codec, args, work, out, absent):
    for image, pixels, allocated, stored, signed in images(args.small):
        if args.image not in (None, image):
            continue
        original = raw_bytes(pixels, allocated)
        for encoder, command, near, decoder in encoders(codec, signed):
            if not keep(image, encoder, codec, args.small):
                continue
            if not shutil.which(command.split()[0]):
                absent.add(command.split()[0])
                continue
            frame, coded = encode(command, work, pixels, allocated, stored, signed)
            truth = decode(decoder, work, coded) if frame and decoder else original
            if frame is None or truth is None:
                continue
            name = f"{codec}-{image}-{encoder}"
            with open(os.path.join(out, name + ".bin"), "wb") as f:
                f.write(frame)
            files = []
            for data in (truth, original):
                files.append("%s-%s.raw" % (image, hashlib.sha256(data).hexdigest()[:6]))
                with open(os.path.join(out, files[-1]), "wb") as f:
                    f.write(data)
            yield dict(zip(COLUMNS, [name, codec, pixels.shape[1], pixels.shape[0], allocated, stored, int(signed),
                                     files[0], within(command, stored), files[1], near, command.format("IN", "OUT"),
                                     hashlib.sha256(frame).hexdigest()]))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out")
    parser.add_argument("--codec", action="append", choices="jpeglossless jpegls rle jpeg2000".split())
    parser.add_argument("--small", action="store_true", help="the committed set")
    parser.add_argument("--image", help="this image alone, of the names in images()")
    args = parser.parse_args()
    absent = set()
    with tempfile.TemporaryDirectory() as work:
        out = os.path.join(work, "out") if args.out.endswith(".zip") else args.out
        os.makedirs(out, exist_ok=True)
        with open(os.path.join(out, "vectors.csv"), "w", newline="") as f:
            table = csv.DictWriter(f, COLUMNS, lineterminator="\n")
            table.writeheader()
            for codec in args.codec or "jpeglossless jpegls rle jpeg2000".split():
                for row in vectors(codec, args, work, out, absent):
                    table.writerow(row)
        if args.out.endswith(".zip"):
            pack(out, args.out)
    for tool in sorted(absent):
        print(f"make.py: {tool} is absent; its vectors are left out", file=sys.stderr)


def pack(folder, path):
    """The same files give the same archive, byte for byte."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as z:
        for name in sorted(os.listdir(folder)):
            with open(os.path.join(folder, name), "rb") as f:
                z.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), f.read(), zipfile.ZIP_DEFLATED, 9)


if __name__ == "__main__":
    main()
