#pragma once
/*
 * record/search.h - what somebody typed to find a patient, as ranges of words.
 *
 * Words are folded as record_patient_words folds them.  A word of two or more
 * letters finds what begins with it, and so does a single letter beside other
 * words or of a script that writes words in one sign; alone it finds itself
 * only.  A word of three or more letters also finds what holds it inside, a
 * word of four digits also whom was born in that year.  A date with a month
 * among the words is a birth date.
 */
#include <stdbool.h>
#include <stddef.h>

struct arena;

#define RECORD_SEARCH_WORDS 12 /* the longest ones of more */
#define RECORD_SEARCH_RANGES (6 * RECORD_SEARCH_WORDS)

/* A range holds the words from lowest to before above, in byte order, and
 * satisfies the words whose bits it carries. */
struct record_search {
    const char *born;  /* FHIR date, or NULL */
    const char *whole; /* what was typed, for a record number; borrowed */
    bool several;      /* more than one word */
    bool plain; /* one range, and at most one more: the same word inside */
    size_t n;
    const char *lowest[RECORD_SEARCH_RANGES];
    const char *above[RECORD_SEARCH_RANGES];
    int bits[RECORD_SEARCH_RANGES];
    int all; /* every word's bit: what a patient must reach; 0 for no words */
};

/* q is UTF-8; what is made of it lives in arena. */
void record_search_read(
    struct arena *arena, const char *q, struct record_search *ret);
