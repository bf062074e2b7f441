#pragma once
/*
 * http/profile_find.h - the field profile that ?profile=name[@version] names.
 */
#include "http/http.h"
#include "instruments/profile.h"

struct profile_used {
    const struct profile *profile; /* in the request's arena */
    const char *format; /* "profile:name@3", the word that a reading keeps */
};

/* True of media types that say nothing of what they hold. */
bool profile_needed(const char *media_type);

/* Asks for it; next gets the reply for profile_found.  RC_INVALID when none
 * is named, or no name. */
enum rc profile_ask(struct http_req *rq, http_next *next, struct err *err);

/* RC_INVALID when there is none, RC_MEDIA_TYPE when it is no profile for the
 * request's media type. */
enum rc profile_found(struct http_req *rq, const struct db_reply *reply,
    struct profile_used *ret, struct err *err);
