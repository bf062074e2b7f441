/*
 * The batches of the optics core beside the same loop with libm's sincos and
 * atan2 for each lens, and beside a plain copy of the bytes that they read and
 * write.  A line each: name, lenses a second, the same by libm, by the copy.
 * Ends with 1 where a batch isn't within 1e-9 of the loop.
 *
 * All are of one build: the same compiler, -O3 and switches.  Each figure is
 * the best of several short runs taken in turn, so that a busy machine slows
 * all alike.
 */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "optics/batch.h"

#define N 4096
#define ROUNDS 40 /* in one short run */
#define TRIES 50
#define CLOSE 1e-9
#define AXIS_FROM 0.1 /* D; the axis of a weaker difference is noise */

static double in[6][N], out[3][N], plain[3][N], copied[9][N];
static const struct optics_powers OLD = {in[0], in[1], in[2]};
static const struct optics_powers NEW = {in[3], in[4], in[5]};
static const struct optics_powers POWERS = {out[0], out[1], out[2]};
static const struct optics_vectors VECTORS = {out[0], out[1], out[2]};
static struct optics_mean mean, plain_mean;

static void batch_vectors(void)
{
    optics_batch_vectors(N, OLD, VECTORS);
}

static void libm_vectors(void)
{
    for (int i = 0; i < N; i++) {
        double s, c;

        sincos(in[2][i] * (M_PI / 90), &s, &c);
        plain[0][i] = in[0][i] + in[1][i] / 2;
        plain[1][i] = -in[1][i] / 2 * c;
        plain[2][i] = -in[1][i] / 2 * s;
    }
}

static void batch_change(void)
{
    optics_batch_change(N, OLD, NEW, POWERS);
}

static void libm_change(void)
{
    for (int i = 0; i < N; i++) {
        double s, c, s2, c2, m, j0, j45, half, axis;

        sincos(in[2][i] * (M_PI / 90), &s, &c);
        sincos(in[5][i] * (M_PI / 90), &s2, &c2);
        m = in[3][i] + in[4][i] / 2 - in[0][i] - in[1][i] / 2;
        j0 = in[1][i] / 2 * c - in[4][i] / 2 * c2;
        j45 = in[1][i] / 2 * s - in[4][i] / 2 * s2;
        half = sqrt(j0 * j0 + j45 * j45);
        axis = atan2(j45, j0) * (90 / M_PI);
        plain[0][i] = m + half;
        plain[1][i] = -2 * half;
        plain[2][i] = axis <= 0 ? axis + 180 : axis;
    }
}

static void batch_mean(void)
{
    optics_batch_vectors(N, OLD, VECTORS);
    optics_batch_mean(N, VECTORS, &mean);
}

static double sum_of(const double *x, double *ret_mean)
{
    double sum = 0, squares = 0;

    for (int i = 0; i < N; i++)
        sum += x[i];
    for (int i = 0; i < N; i++)
        squares += (x[i] - sum / N) * (x[i] - sum / N);
    *ret_mean = sum / N;
    return squares;
}

static void libm_mean(void)
{
    double m, j0, j45;

    libm_vectors();
    m = sum_of(plain[0], &plain_mean.mean.m);
    j0 = sum_of(plain[1], &plain_mean.mean.j0);
    j45 = sum_of(plain[2], &plain_mean.mean.j45);
    plain_mean.sd_total = sqrt((m + j0 + j45) / (N - 1));
}

static void batch_form(void)
{
    optics_batch_as(N, OLD, OPTICS_MINUS_CYL, POWERS);
}

/* fmod, as for any angle. */
static void libm_form(void)
{
    for (int i = 0; i < N; i++) {
        bool turn = in[1][i] > 0;
        double axis = fmod(in[2][i] + (turn ? 90 : 0), 180);

        plain[0][i] = turn ? in[0][i] + in[1][i] : in[0][i];
        plain[1][i] = turn ? -in[1][i] : in[1][i];
        plain[2][i] = axis <= 0 ? axis + 180 : axis;
    }
}

static void batch_powers(void)
{
    optics_batch_powers(N, (struct optics_vectors){in[0], in[1], in[4]},
        OPTICS_MINUS_CYL, POWERS);
}

static void libm_powers(void)
{
    for (int i = 0; i < N; i++) {
        double half = sqrt(in[1][i] * in[1][i] + in[4][i] * in[4][i]);
        double axis = atan2(in[4][i], in[1][i]) * (90 / M_PI);

        plain[0][i] = in[0][i] + half;
        plain[1][i] = -2 * half;
        plain[2][i] = axis <= 0 ? axis + 180 : axis;
    }
}

static double vectors_apart(void)
{
    double most = 0;

    for (int k = 0; k < 3; k++)
        for (int i = 0; i < N; i++)
            most = fmax(most, fabs(out[k][i] - plain[k][i]));
    return most;
}

static double powers_apart(void)
{
    double most = 0;

    for (int i = 0; i < N; i++) {
        double turn = fabs(out[2][i] - plain[2][i]);

        most = fmax(most, fabs(out[0][i] - plain[0][i]));
        most = fmax(most, fabs(out[1][i] - plain[1][i]));
        if (fabs(plain[1][i]) >= AXIS_FROM)
            most = fmax(most, fmin(turn, 180 - turn));
    }
    return most;
}

static double means_apart(void)
{
    return fmax(fmax(fabs(mean.mean.m - plain_mean.mean.m),
                    fabs(mean.mean.j0 - plain_mean.mean.j0)),
        fmax(fabs(mean.mean.j45 - plain_mean.mean.j45),
            fabs(mean.sd_total - plain_mean.sd_total)));
}

static const struct {
    const char *name;
    void (*batch)(void), (*libm)(void);
    double (*apart)(void);
    int arrays; /* of N doubles, read and written */
} BENCHES[] = {
    {"vectors", batch_vectors, libm_vectors, vectors_apart, 3 + 3},
    {"difference", batch_change, libm_change, powers_apart, 6 + 3},
    {"mean", batch_mean, libm_mean, means_apart, 3 + 3},
    {"minus-form", batch_form, libm_form, powers_apart, 3 + 3},
    {"powers", batch_powers, libm_powers, powers_apart, 3 + 3},
};

static double seconds(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_MONOTONIC, &ts);
    return (double)ts.tv_sec + 1e-9 * (double)ts.tv_nsec;
}

/* Keeps what was written from being left out as unused. */
static void used(void)
{
    __asm__ volatile("" ::: "memory");
}

/* Seconds of one short run; where it is less, *best becomes it. */
static void take(void (*run)(void), double *best)
{
    double start = seconds();

    for (int i = 0; i < ROUNDS; i++) {
        run();
        used();
    }
    *best = fmin(*best, seconds() - start);
}

/* As many bytes as in arrays in all: half are read, half are written. */
static void take_copy(int arrays, double *best)
{
    size_t size = sizeof(in[0]) * (size_t)arrays / 2;
    double start = seconds();

    for (int i = 0; i < ROUNDS; i++) {
        memcpy(copied, in, size);
        used();
    }
    *best = fmin(*best, seconds() - start);
}

/* Hundredths of +-20 D, cylinders of +-6 D, axes of whole degrees. */
static void fill(void)
{
    unsigned x = 1;

    for (int k = 0; k < 6; k++)
        for (int i = 0; i < N; i++) {
            x = x * 1664525 + 1013904223;
            in[k][i] = k % 3 == 0   ? (int)(x >> 8) % 4001 / 100.0 - 20
                       : k % 3 == 1 ? ((int)(x >> 8) % 600 + 1) / 100.0
                                    : 1 + (int)(x >> 8) % 180;
            if (k % 3 == 1 && x >> 31)
                in[k][i] = -in[k][i];
        }
}

int main(void)
{
    bool far = false;

    fill();
    for (size_t b = 0; b < sizeof(BENCHES) / sizeof(BENCHES[0]); b++) {
        double batch = INFINITY, libm = INFINITY, copy = INFINITY, apart;

        for (int i = 0; i < TRIES; i++) {
            take(BENCHES[b].batch, &batch);
            take(BENCHES[b].libm, &libm);
            take_copy(BENCHES[b].arrays, &copy);
        }
        apart = BENCHES[b].apart();
        printf("%s %.0f %.0f %.0f %.1e\n", BENCHES[b].name,
            (double)N * ROUNDS / batch, (double)N * ROUNDS / libm,
            (double)N * ROUNDS / copy, apart);
        if (!(apart <= CLOSE)) {
            fprintf(stderr, "%s is %g from libm's\n", BENCHES[b].name, apart);
            far = true;
        }
    }
    return far ? EXIT_FAILURE : EXIT_SUCCESS;
}
