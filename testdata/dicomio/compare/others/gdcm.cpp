// Reads a series with GDCM into one slab: sort by position, then each image. Build: see compare.sh.
#include <gdcmDirectory.h>
#include <gdcmIPPSorter.h>
#include <gdcmImageReader.h>
#include <chrono>
#include <cstdio>
#include <vector>

int main(int, char **argv) {
  auto start = std::chrono::steady_clock::now();
  gdcm::Directory dir;
  dir.Load(argv[1]);
  gdcm::IPPSorter sorter;
  sorter.SetComputeZSpacing(true);
  sorter.SetZSpacingTolerance(1e-3);
  if (!sorter.Sort(dir.GetFilenames())) return 1;
  std::vector<char> slab;
  size_t at = 0;
  for (const auto &name : sorter.GetFilenames()) {
    gdcm::ImageReader r;
    r.SetFileName(name.c_str());
    if (!r.Read()) return 1;
    size_t n = r.GetImage().GetBufferLength();
    if (slab.empty()) slab.resize(n * sorter.GetFilenames().size());
    r.GetImage().GetBuffer(slab.data() + at);
    at += n;
  }
  std::chrono::duration<double, std::milli> took = std::chrono::steady_clock::now() - start;
  std::printf("%.1f ms  check %d\n", took.count(), ((short *)slab.data())[at / 4]);
}
