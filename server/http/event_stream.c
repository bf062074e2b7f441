/* http/event_stream.c - an answer that is written while it is sent. */
#include <stdlib.h>
#include <string.h>

#include "http/events.h"
#include "http/inside.h"

#define QUEUE_MOST 1048576 /* bytes that a client may leave lying */
#define BLOCK 16384

struct event_stream {
    struct http_life *life;
    struct text out;
    size_t sent; /* of out */
    bool paused; /* its connection is suspended by us */
    bool ended;
};

struct event_stream *event_stream_new(struct http_life *life)
{
    struct event_stream *stream = xcalloc(1, sizeof(*stream));

    stream->life = life;
    return stream;
}

void event_stream_free(struct event_stream *stream)
{
    if (!stream)
        return;
    text_free(&stream->out);
    free(stream);
}

/* On the loop's thread, as everything that resumes. */
static void go_on(struct event_stream *stream)
{
    server_moved(stream->life);
    if (!stream->paused)
        return;
    stream->paused = false;
    MHD_resume_connection(stream->life->con);
}

void event_stream_put(
    struct event_stream *stream, const char *bytes, size_t len)
{
    if (stream->ended)
        return;
    if (stream->out.len - stream->sent + len > QUEUE_MOST)
        stream->ended = true;
    else
        text_put(&stream->out, bytes, len);
    go_on(stream);
}

void event_stream_end(struct event_stream *stream)
{
    if (stream->ended)
        return;
    stream->ended = true;
    go_on(stream);
}

/* libmicrohttpd asks for more, also right after it was resumed. */
static ssize_t read_more(void *cls, uint64_t pos, char *buf, size_t max)
{
    struct event_stream *stream = cls;
    size_t left = stream->out.len - stream->sent;

    (void)pos;
    if (left == 0 && stream->ended)
        return MHD_CONTENT_READER_END_OF_STREAM;
    if (left == 0) {
        stream->paused = true;
        MHD_suspend_connection(stream->life->con);
        return 0;
    }
    if (left > max)
        left = max;
    memcpy(buf, stream->out.data + stream->sent, left);
    stream->sent += left;
    if (stream->sent == stream->out.len)
        stream->sent = stream->out.len = 0;
    return (ssize_t)left;
}

struct MHD_Response *event_stream_response(struct event_stream *stream)
{
    return MHD_create_response_from_callback(
        MHD_SIZE_UNKNOWN, BLOCK, read_more, stream, NULL);
}
