#pragma once
/*
 * record/rx.h - what signing an exam needs, and the prescription it makes.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "record/cautions.h"
#include "record/entry.h"
#include "record/exam.h"

/* Where a final refraction was taken from. */
enum record_final_from {
    RECORD_FINAL_OWN,        /* the section "final" */
    RECORD_FINAL_WORKING,    /* it had no eye: the working refraction */
    RECORD_FINAL_NONE_NEEDED /* no eye, and no glasses are needed */
};

/* "final", "working", "none-needed" */
const char *record_final_from_word(enum record_final_from from);

/*
 * The final refraction that a body stands for.  A section without an eye
 * takes the working refraction (and of vertex and pupil distances what it
 * lacks), or, when no glasses are needed, no lens for either eye.  Acuities
 * that an eye lacks come from the list, with "final" or "working".  Bodies
 * are ours, so this can't fail.
 */
enum record_final_from record_final_settle(
    struct json_in body, struct record_final *ret);

/* Adds a fault for everything without which final can't be signed: an eye,
 * the vertex where a meridian reaches vertex_needed_cd. */
void record_sign_check(const struct record_final *final,
    int32_t vertex_needed_cd, struct err *err);

/* Who signs, for whom, where; texts "" or NULL where unknown. */
struct record_rx_head {
    const char *prescription_id, *exam_id;
    int edition;
    const char *reason; /* of an amendment */
    const char *patient_id, *record_number, *family, *given, *born;
    const char *signer_id, *signer, *licence_number, *address;
    const char *clinic_id, *clinic, *clinic_address, *clinic_telephone;
    const char *signed_at, *performed_at; /* RFC 3339 */
    const char *today;                    /* at the clinic, YYYY-MM-DD */
    const char *expires_on; /* by the rule of the place, or NULL */
};

/*
 * What a signed exam would lack and what a person should look at.  k names
 * the keratometry of the section objective, or is NULL.
 */
void record_sign_doubt(struct json_in body, const struct record_final *final,
    const struct record_rx_head *head, const struct record_entry *k,
    struct record_cautions *list);

/* The expiry that stands: final's own, or the rule's; NULL for none. */
const char *record_rx_expires(
    const struct record_final *final, const struct record_rx_head *head);

/* "final" for the first edition, "amended" for later ones. */
const char *record_rx_status(int edition);

/* Writes the members of the prescription, minus form, into an open object. */
void record_rx_write(struct json_out *o, const struct record_final *final,
    const struct record_rx_head *head);
