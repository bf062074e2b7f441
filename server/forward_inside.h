#pragma once
/*
 * forward_inside.h - what the files of the queue share (forward_spool.h).
 */
#include <sodium.h>

#include "forward_spool.h"

#define FORWARD_BATCH 256 /* numbers kept in memory; the rest is on disk */
#define FORWARD_ITEM_NAME "%016llu.item"
#define FORWARD_ITEM_NAME_SIZE 32

struct forward_spool {
    int lock_fd, dir_fd, queue_fd, refused_fd;
    char *refused;                 /* its path */
    uint64_t last_number;          /* given to an item */
    unsigned drafts;               /* begun */
    uint64_t batch[FORWARD_BATCH]; /* the lowest numbers, in order */
    size_t n_batch, at;
};

/* The number of an item's file; 0 for another file. */
uint64_t forward_item_number(const char *file_name);
void forward_item_name(uint64_t number, char ret[FORWARD_ITEM_NAME_SIZE]);

/* The hash behind an item's key, up to where its content begins. */
void forward_key_begin(
    crypto_hash_sha256_state *state, const struct forward_label *label);
void forward_key_end(
    crypto_hash_sha256_state *state, char ret[FORWARD_KEY_SIZE]);
