#include "optics/fingerprint.h"

#include <math.h>

#define PI 3.14159265358979323846

static const double SAME_FREEDOM = 3, BESIDE_FREEDOM = 2;
/* Somebody's first eye: of everybody, and of who wears glasses. */
static const struct {
    double freedom;
    struct optics_vector centre;
    struct optics_covariance scale;
} FIRST[] = {
    {2, {-0.21, -0.05, -0.01},
        {.mm = 1.06 * 1.06, .j00 = 0.27 * 0.27, .j4545 = 0.14 * 0.14}},
    {3, {-0.78, -0.12, -0.01},
        {.mm = 2.24 * 2.24, .j00 = 0.42 * 0.42, .j4545 = 0.22 * 0.22}},
};
static const struct optics_covariance BESIDE = {
    .mm = 0.34 * 0.34, .j00 = 0.19 * 0.19, .j4545 = 0.16 * 0.16};

/* The density of t itself, so that different degrees can be compared. */
static double density_log(
    struct optics_covariance scale, struct optics_vector v, double freedom)
{
    double constant = lgamma((freedom + 3) / 2) - lgamma(freedom / 2) -
                      1.5 * log(freedom * PI);

    return constant +
           optics_student_log(optics_covariance_fit(scale, v), freedom);
}

static double first_log(struct optics_vector eye)
{
    double sum = -INFINITY;

    for (int i = 0; i < 2; i++)
        sum = optics_log_sum(
            sum, density_log(FIRST[i].scale,
                     optics_vector_difference(eye, FIRST[i].centre),
                     FIRST[i].freedom));
    return sum - log(2);
}

static double somebody_log(const struct optics_entry *e, const bool eyes[2])
{
    bool right = eyes[OPTICS_RIGHT];
    struct optics_vector first =
        optics_vector_of(e->eye[right ? OPTICS_RIGHT : OPTICS_LEFT]);
    double sum = first_log(first);
    struct optics_vector left;

    if (!right || !eyes[OPTICS_LEFT])
        return sum;
    left = optics_vector_of(e->eye[OPTICS_LEFT]);
    first.j45 = -first.j45; /* the mirror image of the right eye */
    return sum + density_log(BESIDE, optics_vector_difference(left, first),
                     BESIDE_FREEDOM);
}

/* The eyes that both have; false when there is none. */
static bool shared(const struct optics_entry *a, const struct optics_entry *b,
    bool ret_eyes[2])
{
    for (int eye = 0; eye < 2; eye++)
        ret_eyes[eye] = a->has[eye] && b->has[eye];
    return ret_eyes[0] || ret_eyes[1];
}

static double same_log(const struct optics_entry *now,
    const struct optics_entry *past, struct optics_patient patient,
    const bool eyes[2])
{
    double sum = 0;

    for (int i = 0; i < 2; i++) {
        enum optics_eye eye = (enum optics_eye)i;
        struct optics_covariance scale;

        if (!eyes[i])
            continue;
        scale = optics_covariance_sum(
            optics_covariance_sum(optics_entry_noise(*now, eye, patient),
                optics_entry_noise(*past, eye, patient)),
            optics_entry_moved(now, past, patient.age_years));
        sum += density_log(scale,
            optics_vector_difference(
                optics_vector_of(now->eye[i]), optics_vector_of(past->eye[i])),
            SAME_FREEDOM);
    }
    return sum;
}

static double farther(const struct optics_entry *a,
    const struct optics_entry *b, const bool eyes[2])
{
    double apart = 0;

    for (int eye = 0; eye < 2; eye++)
        if (eyes[eye])
            apart =
                fmax(apart, optics_power_distance(a->eye[eye], b->eye[eye]));
    return apart;
}

enum optics_fault optics_fingerprint_judge(struct optics_entry entry,
    struct optics_patient patient, struct optics_fingerprint *ret)
{
    enum optics_fault fault = optics_patient_check(patient);
    struct optics_fingerprint f = {0, 0, INFINITY};
    double sum = -INFINITY;

    if (fault != OPTICS_OK)
        return fault;
    for (size_t i = 0; i < patient.n; i++) {
        const struct optics_entry *past = &patient.history[i];
        bool eyes[2];

        if (!shared(&entry, past, eyes))
            continue;
        sum = optics_log_sum(sum,
            same_log(&entry, past, patient, eyes) - somebody_log(&entry, eyes));
        f.compared++;
        f.apart = fmin(f.apart, farther(&entry, past, eyes));
    }
    if (f.compared)
        f.log_ratio = sum - log((double)f.compared);
    else
        f.apart = 0;
    *ret = f;
    return OPTICS_OK;
}
