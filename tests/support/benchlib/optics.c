/* Prints how many powers a second are brought to minus form with their power
 * vector, and how many a second a plain copy of the same bytes moves. */
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "optics/power.h"
#include "optics/vector.h"

#define N 4096
#define ROUNDS 500

static struct optics_rx in[N], copy[N], out[N];
static struct optics_vector vectors[N];

static double seconds(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_MONOTONIC, &ts);
    return (double)ts.tv_sec + 1e-9 * (double)ts.tv_nsec;
}

int main(void)
{
    double start, normal, plain;
    volatile double sink = 0;

    for (int i = 0; i < N; i++)
        in[i] = (struct optics_rx){.sph_cd = i % 4000 - 2000,
            .cyl_cd = 25 * (i % 17 - 8),
            .axis_cdeg = i % 17 == 8 ? 0 : 100 * (i % 180 + 1)};
    start = seconds();
    for (int round = 0; round < ROUNDS; round++) {
        for (int i = 0; i < N; i++) {
            out[i] = optics_rx_as(in[i], OPTICS_MINUS_CYL);
            vectors[i] = optics_vector_of(optics_power_of_rx(out[i]));
        }
        sink = sink + vectors[round % N].m;
    }
    normal = seconds() - start;
    start = seconds();
    for (int round = 0; round < ROUNDS * 100; round++) {
        memcpy(copy, in, sizeof(in));
        sink = sink + copy[round % N].sph_cd;
    }
    plain = seconds() - start;
    printf("%.0f %.0f\n", (double)N * ROUNDS / normal,
        (double)N * ROUNDS * 100 / plain);
    return 0;
}
