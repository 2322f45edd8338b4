/* SPDX-License-Identifier: Apache-2.0 */
/*
 * web_internal.h - what the files of the listener for people share.
 *
 * A request is read by one of the library's threads, suspended, done by a thread of its lane, and
 * answered by the library when it is resumed. So neither somebody who reads slowly nor a long file
 * holds up a page.
 */
#ifndef POSTWALK_WEB_INTERNAL_H
#define POSTWALK_WEB_INTERNAL_H

#include <stdatomic.h>

#include "accounts.h"
#include "intake_internal.h"
#include "listener.h"
#include "web.h"

#define PW_WEB_CONNECTIONS 256
#define PW_WEB_AN_ADDRESS 64       /* an office behind one address */
#define PW_WEB_HEADERS_MS 30000
#define PW_WEB_REQUEST_MS 120000
#define PW_WEB_FORM_MAX 65536      /* of a body without a file */
#define PW_WEB_FILE_MAX 16777216
#define PW_WEB_FILES_MAX (4 * (size_t)PW_WEB_FILE_MAX) /* of all that come in at a moment */
#define PW_ADDRESS_MAX 2048

/* -- web_session.c: who is signed in; in memory alone ------------------------------------------ */

#define PW_SESSION_IDLE_MS (60 * INT64_C(60000))
#define PW_SESSION_MOST_MS (12 * INT64_C(3600000))
#define PW_SESSION_ID 65           /* 256 bits, in hex */
#define PW_FORM_TOKEN 65

struct pw_session {
	char code[PW_AUDIT_CODE];
	enum pw_office_role role;
	bool must_change;
};
struct pw_sessions;
struct pw_sessions *pw_signed_new(void); /* NULL: no memory */
void pw_signed_free(struct pw_sessions *s);
void pw_signed_draw(char id[PW_SESSION_ID]);
/* Clocks by pw_since_boot_ms. Of a session that is found, its idle time begins anew. */
bool pw_signed_find(struct pw_sessions *s, const char *id, int64_t now_ms, struct pw_session *is);
void pw_signed_begin(struct pw_sessions *s, const struct pw_session *is, int64_t now_ms,
		char id[PW_SESSION_ID]);
void pw_signed_end(struct pw_sessions *s, const char *id);
void pw_signed_end_of(struct pw_sessions *s, const char *code);
/* Told once, on the next page. */
void pw_signed_say(struct pw_sessions *s, const char *id, const char *said);
void pw_signed_said(struct pw_sessions *s, const char *id, char said[512]); /* "": nothing */
/* Of a form: bound to the cookie and to the path that it is sent to. */
void pw_form_token(const struct pw_sessions *s, const char *id, const char *path,
		char token[PW_FORM_TOKEN]);
bool pw_form_token_holds(const struct pw_sessions *s, const char *id, const char *path,
		const char *token);

/* -- web_lane.c: threads that do requests ------------------------------------------------------ */

enum pw_lane_kind { PW_LANE_PAGE, PW_LANE_FILE, PW_LANE_PASSWORD, PW_LANES };
struct pw_turn;
struct pw_lanes;
int pw_lanes_start(void (*work)(struct pw_turn *t), struct pw_lanes **lanes); /* 0, -1 */
/* false: it is full */
bool pw_lane_put(struct pw_lanes *l, enum pw_lane_kind kind, struct pw_turn *t);
void pw_lanes_stop(struct pw_lanes *l); /* what waits is done first; nothing more is taken */
void pw_lanes_free(struct pw_lanes *l);

/* -- a request --------------------------------------------------------------------------------- */

enum pw_as { PW_AS_PAGE, PW_AS_PRINT, PW_AS_CSV, PW_AS_LINES };
struct pw_turn {
	struct pw_asked asked;             /* the first: a page has no more of it */
	struct pw_web *web;
	struct MHD_Connection *connection;
	char address[PW_ADDRESS_TEXT];
	bool post, is_tongue, long_value, bad_value;
	enum pw_as as;
	char table[64];
	char where[PW_ADDRESS_MAX];        /* the path, and what was asked */
	/* Who. */
	char id[PW_SESSION_ID];            /* of the cookie; one that is drawn, where there is none */
	bool id_is_new, signed_in;
	struct pw_session session;
	char bearer[PW_SESSION_ID];        /* SHA-256 of a program's token; "" */
	char token[PW_FORM_TOKEN];         /* that came with the form */
	/* A body. */
	struct MHD_PostProcessor *processor;
	size_t got, most, room, held;
	char *file;
	/* What is answered. */
	unsigned status;                   /* 0: not yet; of a body that is still to be read: then this */
	enum pw_phrase why;
	int retry_s;
	char *text;
	size_t length;
	int fd;                            /* of a file; -1 */
	const char *type;
	char name[200], then[PW_ADDRESS_MAX];
	bool queued, ends_cookie;
	struct pw_turn *next;              /* the lane's */
};

struct pw_web {
	struct pw_office *o;
	struct pw_zone *zone;
	struct pw_sessions *sessions;
	bool listens;                      /* and what belongs to it: */
	struct pw_listener listener;
	struct pw_lanes *lanes;
	atomic_size_t held;                /* bytes of files */
	pthread_mutex_t lock;              /* of all below */
	struct pw_guesses by_address, by_code;
};
static inline struct pw_turn *pw_turn_of(struct pw_asked *q)
{
	return (struct pw_turn *)q;
}

/* web_ask.c. False: status says what is to be answered; of a body nothing is wanted. */
bool pw_turn_begin(struct pw_turn *t, const char *url, const char *method);
/* false: its connection ends */
bool pw_turn_piece(struct pw_turn *t, const char *piece, size_t size);
void pw_turn_whole(struct pw_turn *t); /* the body is: what it lacks is in status */
void pw_turn_free(struct pw_turn *t);
void pw_turn_refuse(struct pw_turn *t, unsigned status, enum pw_phrase why); /* the first stays */

/* added to what is there; RFC 3986 2.3 */
void pw_web_escape(char *to, size_t size, const char *text);

/* web_act.c: by a thread of its lane. */
enum pw_lane_kind pw_turn_lane(const struct pw_turn *t);
void pw_turn_act(struct pw_turn *t);
void pw_turn_draw_refusal(struct pw_turn *t);

/* web_answer.c */
enum MHD_Result pw_turn_answer(struct pw_turn *t);

/* web_frame.c: the whole of a page about what a report has. inner: the inside of <main>. */
void pw_frame(struct pw_turn *t, const char *inner, FILE *out);

/* page_sign.c */
int pw_sign_in_get(struct pw_asked *q, struct pw_report *r);
int pw_sign_in_post(struct pw_asked *q);
int pw_sign_out_get(struct pw_asked *q, struct pw_report *r);
int pw_sign_out_post(struct pw_asked *q);
int pw_password_get(struct pw_asked *q, struct pw_report *r);
int pw_password_post(struct pw_asked *q);

/* web_leaves.c: a leaf by its path, and files that never change. */
const struct pw_leaf *pw_leaf_at(const char *path);
struct pw_still { const char *path, *type, *text; };
extern const struct pw_still pw_stills[]; /* ended by a NULL path */

#endif
