#pragma once
/*
 * http/post.h - messages posted to webhooks, by libcurl.
 *
 * Each carries Content-Digest (RFC 9530) and a signature by HMAC-SHA-256 in
 * Signature-Input and Signature (RFC 9421) over @method, @target-uri,
 * content-digest, content-type and the time.  Blocking: for a worker's thread.
 * Nothing is followed elsewhere, and an answer's body isn't kept.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define POST_WHY 256

struct post_message {
    /* Borrowed until posted. */
    const char *webhook_id, *url, *body;
    uint8_t secret[32];
    /* How it ended: the HTTP status, 0 when there was none, and then why. */
    int status;
    char why[POST_WHY];
};

/* Posts n at once; each gets some seconds. */
void post_all(struct post_message *messages, size_t n, int64_t now_us);

/* True when url is https, or http to this machine, without a user's name. */
bool post_url_good(const char *url);
