// Reads a series with DCMTK into one slab: headers first, sorted by the z of their position, then the pixels.
#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

int main(int, char **argv) {
  auto start = std::chrono::steady_clock::now();
  OFLog::configure(OFLogger::FATAL_LOG_LEVEL);
  std::vector<std::pair<double, std::string>> files;
  for (const auto &e : std::filesystem::directory_iterator(argv[1])) {
    DcmFileFormat f;
    if (f.loadFileUntilTag(e.path().c_str(), EXS_Unknown, EGL_noChange, DCM_MaxReadLength, ERM_autoDetect, DCM_PixelData).bad()) return 1;
    Float64 z = 0;
    f.getDataset()->findAndGetFloat64(DCM_ImagePositionPatient, z, 2);
    files.emplace_back(z, e.path().string());
  }
  std::sort(files.begin(), files.end());
  std::vector<Uint16> slab;
  size_t at = 0;
  for (const auto &[z, name] : files) {
    DcmFileFormat f;
    const Uint16 *pixels = nullptr;
    unsigned long n = 0;
    if (f.loadFile(name.c_str()).bad() || f.getDataset()->findAndGetUint16Array(DCM_PixelData, pixels, &n).bad()) return 1;
    if (slab.empty()) slab.resize(n * files.size());
    std::memcpy(slab.data() + at, pixels, 2 * n);
    at += n;
  }
  std::chrono::duration<double, std::milli> took = std::chrono::steady_clock::now() - start;
  std::printf("%.1f ms  check %d\n", took.count(), (short)slab[at / 2]);
}
