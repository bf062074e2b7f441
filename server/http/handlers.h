#pragma once
/* http/handlers.h - every handler of routes.def. */
#include "http/http.h"

/* audit.c */

/* clinics.c */

/* devices.c */

/* docs.c */
enum rc http_docs_get(struct http_req *rq, struct err *err);
enum rc http_openapi_get(struct http_req *rq, struct err *err);
enum rc http_schema_get(struct http_req *rq, struct err *err);

/* exams.c */

/* health.c */
enum rc http_health_get(struct http_req *rq, struct err *err);
enum rc http_ready_get(struct http_req *rq, struct err *err);

/* optics.c */
enum rc http_optics_post(struct http_req *rq, struct err *err);

/* orders.c */

/* patients.c */

/* readings.c */

/* sessions.c */
enum rc http_me_get(struct http_req *rq, struct err *err);
enum rc http_session_delete(struct http_req *rq, struct err *err);
enum rc http_session_post(struct http_req *rq, struct err *err);

/* tokens.c */

/* users.c */

/* visits.c */
