#pragma once
/* http/pages.h - files of the service's own folders, as answers. */
#include <stdbool.h>

#include "http/http.h"

/* True for a name that can't leave its folder: letters, digits, dash, dot. */
bool page_name_plain(const char *name);

/*
 * Answers with dir/name.  Where dir/name.gz stands beside it and the client
 * takes gzip, with that; else reply.c may compress.  RC_NOT_FOUND when there
 * is no such file.  name has been checked, or is ours.
 */
enum rc page_reply_file(
    struct http_req *rq, const char *dir, const char *name, const char *type);
