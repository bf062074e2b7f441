#pragma once
/*
 * optics/power.h - the power of a lens or of an eye's correction, and its two
 * written forms.
 *
 * Two layers.  struct optics_rx is what a record holds: hundredths, so that
 * equal means equal.  struct optics_power is what formulas work on: doubles in
 * dioptres and degrees.  Pure: no allocation, I/O, clock, locale or global
 * state, as everywhere in this folder.
 *
 * In both, the axis is 0 exactly when there is no cylinder, and otherwise in
 * (0, 180] degrees.  The power in the meridian t is F(t) = S + C sin^2(t - A)
 * (Thibos, Wheeler & Horner 1997, abstract).
 */
#include <stdbool.h>
#include <stdint.h>

#include "optics/fault.h"

struct optics_rx {
    int32_t sph_cd;    /* hundredths of a dioptre */
    int32_t cyl_cd;    /* either sign; minus in the record */
    int32_t axis_cdeg; /* hundredths of a degree, 1..18000; 0: no cylinder */
};

struct optics_power {
    double sph, cyl; /* D */
    double axis;     /* degrees, (0, 180]; 0: no cylinder */
};

enum optics_form { OPTICS_MINUS_CYL, OPTICS_PLUS_CYL };

/* What a record may hold: each meridian within +-40.00 D, cylinder within
 * +-20.00 D (chosen by us; survey eyes and published cases fit with room). */
#define OPTICS_RX_MERIDIAN_MAX_CD 4000
#define OPTICS_RX_CYL_MAX_CD 2000
#define OPTICS_AXIS_MAX_CDEG 18000

/*
 * OPTICS_OK when rx may stand in a record and be given to every function
 * here; else OPTICS_BAD_SPHERE (also: a sphere out of the range above),
 * _CYLINDER (also: the other meridian out of range), _AXIS or _NO_AXIS.  An
 * axis beside cylinder 0 is OPTICS_BAD_AXIS; optics_rx_normal drops it.
 */
enum optics_fault optics_rx_check(struct optics_rx rx);

/* The same lens with axis 0 as 18000 beside a cylinder, and no axis without
 * one.  For sources that write a plano cylinder's axis, or 0 for 180. */
struct optics_rx optics_rx_normal(struct optics_rx rx);

/* The same lens with the cylinder sign of form (transposition); exact.  rx
 * must be valid. */
struct optics_rx optics_rx_as(struct optics_rx rx, enum optics_form form);

/* True for two notations of one lens.  Both must be valid. */
bool optics_rx_same(struct optics_rx a, struct optics_rx b);

/* Hundredths as doubles, and back by the nearest hundredth (ties away from
 * zero); the axis of a cylinder that rounds to 0 is dropped.  power must pass
 * optics_power_check. */
struct optics_power optics_power_of_rx(struct optics_rx rx);
struct optics_rx optics_rx_of_power(struct optics_power power);

/* OPTICS_OK when power is finite, within +-1000 D, its axis within 0..180, and
 * a cylinder has one.  An axis without cylinder passes (it is ignored). */
enum optics_fault optics_power_check(struct optics_power power);

/*
 * Below, power must pass optics_power_check; results do too.
 *
 * _normal: axis 0 beside no cylinder (under 1e-9 D counts as none), else in
 * (0, 180]; no -0.  _as: also in the given form.  _rounded: as a computed
 * figure leaves the record: powers to 0.0001 D, axis to 0.01
 * degree, then axis 0 as 180, and no axis when the cylinder rounds to 0.
 */
struct optics_power optics_power_normal(struct optics_power power);
struct optics_power optics_power_as(
    struct optics_power power, enum optics_form form);
struct optics_power optics_power_rounded(struct optics_power power);

/* Power along a meridian, D; meridian in degrees, finite. */
double optics_power_meridian(struct optics_power power, double meridian_deg);

/* S + C/2, D. */
double optics_power_equivalent(struct optics_power power);

/* x to the nearest multiple of unit > 0, ties away from zero as people round
 * decimals (1.005 to 0.01 is 1.01 although its double lies below); never -0. */
double optics_round_to(double x, double unit);
