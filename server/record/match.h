#pragma once
/*
 * record/match.h - how likely is a patient of the record the one whom a
 * reading, or another record, is of?
 *
 * Each thing known of both adds the logarithm of a likelihood ratio: how often
 * one person's data look like this over how often two persons' do (Fellegi &
 * Sunter 1969, from memory).  The shares stand in match.c; they are chosen by
 * us, in the light of two facts: in confirmed duplicates most first names that
 * differ are misspelt (53 percent) or stand in another field (PMC4832129), and
 * between 16 and 41 percent of a record's people share both names with another
 * one, with the birth date 0.2 to 15 (Mount Sinai, identifiers in records).
 *
 * What comes out ranks candidates for a person to choose from.
 */
#include <stdbool.h>
#include <stddef.h>

#include "optics/fingerprint.h"

struct arena;

/* What is said of somebody; NULL where nothing is. */
struct record_known {
    const char *record_number;
    const char *family, *given;
    const char *born; /* FHIR date */
};

enum record_match_field {
    RECORD_MATCH_NUMBER,
    RECORD_MATCH_NAMES,
    RECORD_MATCH_BORN,
    RECORD_MATCH_VISIT,
    RECORD_MATCH_REFRACTION,
    RECORD_MATCH_FIELDS
};

/* Among whom somebody is looked for. */
struct record_crowd {
    size_t people;       /* patients of the network */
    size_t near_numbers; /* candidates whose number is one slip away */
    size_t visits;       /* at the clinic on that day; 0: it keeps none */
    double on_record;    /* how likely it is that they are among the people */
};

/* Chosen by us: whom an instrument measured was registered before; one of ten
 * records has a double (in five organisations 0.2 to 15 percent share names and
 * birth date with another, see above). */
#define RECORD_ON_RECORD 0.95
#define RECORD_DOUBLED 0.10

/* One field's part: for (above 0) or against; text NULL: nothing to compare. */
struct record_match_part {
    double log_ratio; /* natural */
    const char *text;
};

struct record_match {
    struct record_match_part parts[RECORD_MATCH_FIELDS];
    double log_ratio;   /* of all */
    double probability; /* among the candidates, record_match_weigh */
};

/* number, names, born, visit, refraction */
const char *record_match_word(enum record_match_field field);

/* True when the record numbers are one slip apart. */
bool record_match_near_number(struct arena *arena, const struct record_known *a,
    const struct record_known *b);

/* Compares number, names and birth; texts are static or in arena. */
void record_match_compare(struct arena *arena, const struct record_known *said,
    const struct record_known *patient, const struct record_crowd *crowd,
    struct record_match *ret);

/* A visit on that day, or none; nothing where the clinic keeps none. */
void record_match_visit(
    bool here, const struct record_crowd *crowd, struct record_match *match);

/* A refraction held against the patient's; nothing when none was compared. */
void record_match_refraction(struct arena *arena,
    const struct optics_fingerprint *found, struct record_match *match);

/*
 * Sums the parts and sets each probability: that it is this candidate, when
 * everybody of the crowd is as likely before anything is compared, and nothing
 * of what is said fits those who are no candidates.
 */
void record_match_weigh(struct record_match **matches, size_t n,
    const struct record_known *said, const struct record_crowd *crowd);

/*
 * How far apart two texts are in insertions, deletions, exchanges of a sign
 * and of two neighbours (optimal string alignment), at most limit + 1; signs
 * of UTF-8 count as one.
 */
size_t record_match_distance(const char *a, const char *b, size_t limit);

/* How a folded name sounds: the American Soundex of the US National Archives
 * ("r163" of "robert"); "" for a name without Latin letters. */
void record_match_sound(const char *fold, char ret[5]);
