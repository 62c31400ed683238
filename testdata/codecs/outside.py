#!/usr/bin/python3
"""Decodes one frame with another decoder: outside.py 57|80 FRAME COLUMNS ROWS ALLOCATED STORED OUT

57: dcmdjpeg (Debian dcmtk), 80: libcharls.so.2 (Debian libcharls2). OUT holds little-endian pixels, 8 or 16 bit as allocated.
It is for frames of our own test encoders, of kinds that no installed encoder makes.
"""
import ctypes, os, subprocess, sys, tempfile


def dcmdjpeg(frame, columns, rows, allocated, stored):
    from pydicom.dataset import Dataset, FileMetaDataset
    import pydicom
    from pydicom.encaps import encapsulate
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = "1.2.840.10008.1.2.4.57"
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID = "1.2.840.10008.5.1.4.1.1.7"
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID = "2.25.1"
    ds.Rows, ds.Columns, ds.SamplesPerPixel, ds.PhotometricInterpretation = rows, columns, 1, "MONOCHROME2"
    ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = allocated, stored, stored - 1, 0
    ds.PixelData = encapsulate([frame])
    ds["PixelData"].VR, ds["PixelData"].is_undefined_length = "OB", True
    ds.is_little_endian, ds.is_implicit_VR = True, False
    with tempfile.TemporaryDirectory() as work:
        source, out = os.path.join(work, "in.dcm"), os.path.join(work, "out.dcm")
        ds.save_as(source, write_like_original=False)
        subprocess.run(["dcmdjpeg", source, out], check=True)
        return pydicom.dcmread(out).PixelData[:rows * columns * allocated // 8]


def libcharls(frame, columns, rows, allocated, stored):
    lib = ctypes.CDLL("libcharls.so.2")
    lib.charls_jpegls_decoder_create.restype = ctypes.c_void_p
    decoder, size = ctypes.c_void_p(lib.charls_jpegls_decoder_create()), ctypes.c_size_t()
    out = ctypes.create_string_buffer(rows * columns * allocated // 8)
    for failed in (lib.charls_jpegls_decoder_set_source_buffer(decoder, frame, ctypes.c_size_t(len(frame))),
                   lib.charls_jpegls_decoder_read_header(decoder),
                   lib.charls_jpegls_decoder_get_destination_size(decoder, 0, ctypes.byref(size)),
                   lib.charls_jpegls_decoder_decode_to_buffer(decoder, out, ctypes.c_size_t(len(out)), 0)):
        if failed:
            sys.exit(f"outside.py: libcharls error {failed}")
    return out.raw


def main():
    syntax, path, columns, rows, allocated, stored, out = sys.argv[1:]
    with open(path, "rb") as f:
        frame = f.read()
    decode = {"57": dcmdjpeg, "80": libcharls}[syntax]
    with open(out, "wb") as f:
        f.write(decode(frame, int(columns), int(rows), int(allocated), int(stored)))


if __name__ == "__main__":
    main()
