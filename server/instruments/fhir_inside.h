#pragma once
/*
 * instruments/fhir_inside.h - inside this folder: a FHIR resource on its way
 * to a reading.
 *
 * A draft is a reading in the native form, put together from elements; where
 * each came from is kept, so that faults name the resource's own places.
 */
#include "base/json_in.h"
#include "instruments/fhir_shape.h"
#include "instruments/format.h"
#include "record/reading.h"

struct fhir_from {
    const char *to, *from; /* pointers: into the draft, into the payload */
};

struct fhir_draft {
    struct arena *arena;
    json_t *doc; /* owned */
    struct fhir_from *from;
    size_t n, room;
    const char *place; /* the resource */
    bool day_only;     /* taken_at is a day of the clinic's zone */
    bool prescription; /* another's */
    const char *by;
    const char *key; /* what an observation of the other eye has alike */
};

/* Resources of the payload that others refer to. */
struct fhir_pool {
    struct json_in *items;
    const char **full_urls; /* or NULL */
    size_t n;
};

/* Puts value (taken over) at the pointer to of the draft; lists of prisms
 * are put whole. */
void fhir_put(struct fhir_draft *draft, const char *to, json_t *value,
    struct json_in from);
void fhir_put_text(struct fhir_draft *draft, const char *to, const char *text,
    struct json_in from);

/* taken_at from a date or time that was checked; faults when no day. */
void fhir_put_time(struct fhir_draft *draft, struct json_in at);

/* patient from a reference to one: of the pool, contained, or by identifier.
 * Nobody where it leads elsewhere. */
void fhir_put_patient(struct fhir_draft *draft, struct json_in resource,
    struct json_in reference, const struct fhir_pool *pool);
void fhir_put_device(struct fhir_draft *draft, struct json_in resource,
    struct json_in reference, const struct fhir_pool *pool);

/* A name for people of who is referred to, or NULL. */
const char *fhir_name_of(struct json_in resource, struct json_in reference,
    const struct fhir_pool *pool);

/* The text of an element, or "". */
const char *fhir_text_at(struct json_in in, const char *name);
/* True when the concept has this code. */
bool fhir_has_code(
    struct json_in concept, const char *system, const char *code);
/* Its text in lower case, or "". */
const char *fhir_concept_text(struct json_in concept);

#define FHIR_SNOMED "http://snomed.info/sct"
#define FHIR_LOINC "http://loinc.org"
#define FHIR_UCUM "http://unitsofmeasure.org"

/* A checked resource into a draft; false after a fault. */
bool fhir_prescription_read(
    struct json_in in, const struct fhir_pool *pool, struct fhir_draft *draft);
bool fhir_observation_read(
    struct json_in in, const struct fhir_pool *pool, struct fhir_draft *draft);
