#pragma once
/*
 * http/deliver.h - inside the engine: what waits for webhooks is posted.
 *
 * Any daemon may post any message: it is claimed in the database for a minute,
 * and only the first that waits of each subject can be, so an address hears of
 * an order in order.  Told is what was answered 2xx; everything else is tried
 * again with growing pauses, and at last dead, which is seen and can be told
 * again.
 */
struct deliver;
struct http_server;

struct deliver *deliver_new(struct http_server *srv);
void deliver_free(struct deliver *deliver);
