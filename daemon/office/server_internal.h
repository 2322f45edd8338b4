/* SPDX-License-Identifier: Apache-2.0 */
/*
 * server_internal.h - what server.c, request.c, routes.c and answer.c share.
 *
 * A request is read on one of the library's threads, and its batch is checked there: that takes
 * some milliseconds, and only an enrolled bus has one checked. Then it is suspended and posted to
 * the desk; the desk resumes it after the commit, and the same thread answers.
 */
#ifndef POSTWALK_SERVER_INTERNAL_H
#define POSTWALK_SERVER_INTERNAL_H

#include <stdatomic.h>

#include "intake_internal.h"
#include "listener.h"

#define PW_CONNECTIONS_AN_ADDRESS 300 /* a yard behind one address */
#define PW_HEADERS_MS 30000           /* from a connection's begin, or an answer, to headers */
#define PW_REQUEST_MS 120000          /* from there to its end: 1 MiB at 9 kB/s */

enum pw_route { PW_R_NONE, PW_R_OFFICE, PW_R_ENROL, PW_R_HEAD, PW_R_RECORDS, PW_R_ALERT };

struct pw_server {
	struct pw_office *o;
	struct pw_listener listener;
	atomic_size_t held;                 /* bytes of bodies and batches */
	pthread_mutex_t lock;               /* of all below */
	pthread_cond_t news;
	bool stopping;
	unsigned posted;                    /* requests at the desk */
	struct pw_guesses guesses;
};

struct pw_request {
	struct pw_server *server;
	struct MHD_Connection *connection;
	enum pw_route route;
	char bus[PW_NAME_MAX], epoch[17], nonce[33], address[46];
	bool begins;
	struct pw_public_key key;           /* of the bus */
	enum pw_packing packing;
	size_t length;                      /* of the body, as the headers say */
	char *body;
	size_t got;
	size_t held;                        /* of the server's */
	bool entered;                       /* one of its bus's bodies */
	struct pw_wrong wrong;              /* status 0: nothing so far */
	/* At the desk. */
	bool posted;
	struct pw_job job;
	struct pw_batch *batch;
	struct pw_took took;
	json_t *heads;
	struct pw_enrolment enrolment;
	int result;
	char why[240];
};

/* -- request.c: how a request is framed, and what it asks; before a body is read --------------- */

/* Fills in r, wrong with it. False: wrong is to be said at once, the body is not wanted. */
bool pw_request_begin(struct pw_request *r, const char *url, const char *method,
		      const char *version);
/* Once only: the first stays. */
__attribute__((format(printf, 4, 5)))
void pw_request_wrong(struct pw_request *r, unsigned status, const char *word, const char *format,
		      ...);
bool pw_hold(struct pw_request *r, size_t bytes); /* false: it would be too much, over all */
void pw_let_go(struct pw_request *r);
void pw_request_later(struct pw_request *r, const char *words); /* 503 */

/* -- routes.c ---------------------------------------------------------------------------------- */

/* The request is whole. True: it is at the desk, suspended; false: answer it. */
bool pw_request_act(struct pw_request *r);

/* -- answer.c ---------------------------------------------------------------------------------- */

enum MHD_Result pw_request_answer(struct pw_request *r);
enum MHD_Result pw_answer_wrong(struct pw_request *r);

#endif
