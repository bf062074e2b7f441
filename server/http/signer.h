#pragma once
/*
 * http/signer.h - what is signed by the network's key.
 */
#include "base/sign.h"
#include "http/http.h"

struct http_signer {
    const char *key_id;
    struct sign_key key;
};

/* Finds the network's key that signs now, and makes one when there is none or
 * the key file is another; then rq->signer is set (NULL where the operator
 * named no key file) and next runs with reply NULL. */
enum rc http_signer_find(struct http_req *rq, http_next *next);

/* json, one object, with the member "signature" over its canonical form; json
 * itself without a signer.  In the arena. */
const char *http_signed(struct http_req *rq, const char *json);

/* Lines of text with the lines KEY and SIGNATURE; the last signs all before
 * it.  text itself without a signer. */
const char *http_signed_lines(struct http_req *rq, const char *text);
