#pragma once
/*
 * http/events.h - inside the engine: server-sent events.
 *
 * A stream is an answer without an end: its connection is suspended while
 * there is nothing to tell.  A feed is one network that somebody listens to;
 * it asks the database every 250 ms for what was written lately.  Ids are made
 * before their commit, so each look goes back some seconds and what was told
 * before is dropped.
 */
#include <microhttpd.h>
#include <stdbool.h>
#include <stdint.h>

struct http_life;
struct http_server;

/* ---- events.c: feeds --------------------------------------------------- */

struct event_table;
struct event_stream;

struct event_table *event_table_new(struct http_server *srv);
/* Every stream must have ended. */
void event_table_free(struct event_table *table);
/* Ends the streams of a token that was revoked. */
void event_table_revoke(struct event_table *table, const uint8_t hash[32]);
/* Ends all streams. */
void event_table_drain(struct event_table *table);
/* The stream that answers a request, if one does. */
struct MHD_Response *event_response(struct http_life *life);
/* Its connection is gone; nothing when it has no stream. */
void event_forget(struct http_life *life);

/* ---- event_stream.c ------------------------------------------------------ */

struct event_stream *event_stream_new(struct http_life *life);
/* NULL is a no-op. */
void event_stream_free(struct event_stream *stream);

/* Bytes for the client.  A client that doesn't take them loses the stream, and
 * comes back with the last id it knows. */
void event_stream_put(
    struct event_stream *stream, const char *bytes, size_t len);
/* Closes it once everything was taken. */
void event_stream_end(struct event_stream *stream);

/* The response that reads from the stream. */
struct MHD_Response *event_stream_response(struct event_stream *stream);
