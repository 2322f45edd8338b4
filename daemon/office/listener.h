/* SPDX-License-Identifier: Apache-2.0 */
/*
 * listener.h - what the listener of the buses and that of people share: an address, TLS, connections and
 * their deadlines. A connection that is over its time is ended, whatever it does.
 */
#ifndef POSTWALK_OFFICE_LISTENER_H
#define POSTWALK_OFFICE_LISTENER_H

#include <microhttpd.h>
#include <pthread.h>

#include "office_internal.h"

#define PW_CONNECTIONS_MAX 1024
#define PW_ADDRESS_TEXT 46

struct pw_slot { /* one connection, and when it must have gone on */
	bool used;
	int fd;
	int64_t deadline_ms; /* INT64_MAX: it is somebody else's turn */
};

struct pw_listener {
	const char *key, *place;            /* "listen", its value */
	int fd;
	uint16_t port;
	char *certificate, *private_key;    /* PEM; NULL: plain HTTP */
	int64_t headers_ms, request_ms;     /* from a connection's begin, or an answer, to headers; to the end */
	struct MHD_Daemon *daemon;
	pthread_mutex_t lock;               /* of all below */
	pthread_cond_t news;
	struct pw_slot slot[PW_CONNECTIONS_MAX];
	pthread_t keeper;                   /* ends connections that are over their time */
	bool keeper_runs;
};

/* key: of office.conf, for what is said. place: ADDRESS:PORT. Plain HTTP on a loopback address alone. */
int pw_listener_open(struct pw_listener *l, const char *key, const char *place,
		     const struct pw_office_conf *conf, char *why, size_t size);
void pw_listener_close(struct pw_listener *l); /* after a failed open as well */

struct pw_serving {
	MHD_AccessHandlerCallback answer;
	MHD_RequestCompletedCallback ends;
	void *cls;
	unsigned threads, connections, an_address; /* connections: PW_CONNECTIONS_MAX at most */
	bool decodes;                       /* paths and values of the address come decoded */
};
/* Takes connections from now on. */
int pw_listener_serve(struct pw_listener *l, const struct pw_serving *as,
		      const struct pw_office_conf *conf, char *why, size_t size);
/* no new ones; the socket, to be closed after the end */
int pw_listener_quiesce(struct pw_listener *l);
void pw_listener_end(struct pw_listener *l);

/* wait_ms INT64_MAX: it has none. */
void pw_listener_deadline(struct pw_listener *l, struct MHD_Connection *c, int64_t wait_ms);
/* whose it is; "?" */
void pw_listener_address(struct MHD_Connection *c, char address[PW_ADDRESS_TEXT]);
int64_t pw_since_boot_ms(void);

#endif
