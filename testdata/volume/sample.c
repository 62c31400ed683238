// The fixed-point loop that BenchmarkSample is held against: trilinear interpolation of int16 on
// the same oblique plane of a 512^3 volume, one thread. Build and run:
//   cc -O3 -march=native -o /tmp/sample testdata/volume/sample.c && /tmp/sample
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { N = 512, W = 600, H = 600 };

static float mix(const int16_t *p, float f) { return p[0] + f * (float)(p[1] - p[0]); }

static void row(const int16_t *v, float *dst, const int64_t a[3], const int64_t d[3]) {
	const float unit = 1.0f / 4294967296.0f;
	int64_t i = a[0], j = a[1], k = a[2];
	for (int x = 0; x < W; x++, i += d[0], j += d[1], k += d[2]) {
		float fi = (uint32_t)i * unit, fj = (uint32_t)j * unit, fk = (uint32_t)k * unit;
		const int16_t *p = v + ((k >> 32) * N + (j >> 32)) * N + (i >> 32);
		float c00 = mix(p, fi), c10 = mix(p + N, fi);
		float c01 = mix(p + N * N, fi), c11 = mix(p + N * N + N, fi);
		float c0 = c00 + fj * (c10 - c00), c1 = c01 + fj * (c11 - c01);
		dst[x] = c0 + fk * (c1 - c0);
	}
}

int main(void) {
	int16_t *v = malloc(sizeof(int16_t) * N * N * N);
	float *dst = malloc(sizeof(float) * W * H);
	for (size_t n = 0; n < (size_t)N * N * N; n++) v[n] = (int16_t)(rand() % 4000 - 1000);
	const double start[3] = {100, 100, 100}, dx[3] = {0.4, 0.25, 0.2}, dy[3] = {-0.25, 0.4, 0.15};
	double best = 1e9;
	for (int round = 0; round < 30; round++) {
		struct timespec t0, t1;
		clock_gettime(CLOCK_MONOTONIC, &t0);
		for (int y = 0; y < H; y++) {
			int64_t a[3], d[3];
			for (int c = 0; c < 3; c++) {
				a[c] = (int64_t)((start[c] + y * dy[c]) * 4294967296.0);
				d[c] = (int64_t)(dx[c] * 4294967296.0);
			}
			row(v, dst + y * W, a, d);
		}
		clock_gettime(CLOCK_MONOTONIC, &t1);
		double s = (t1.tv_sec - t0.tv_sec) + 1e-9 * (t1.tv_nsec - t0.tv_nsec);
		if (s < best) best = s;
	}
	printf("%.1f million samples/s (check %.3f)\n", W * H / best / 1e6, dst[1234]);
	return 0;
}
