#pragma once
/* http/reading_tray.h - readings that no patient has been given yet. */
#include "http/match_find.h"

/* Answers with the tray from after (an id, NULL: the start) on, newest first,
 * each reading with whose it could be. */
enum rc reading_tray(struct http_req *rq, int limit, const char *after);

/* Who a reading says it is of, what it measured and when, from its members as
 * they are kept; copied. */
void reading_wanted(
    struct http_req *rq, const char *body, struct match_wanted *ret);
