/* SPDX-License-Identifier: Apache-2.0 */
/* http_internal.h - what http.c, answer.c, document.c and post.c share. */
#ifndef POSTWALK_PAGE_HTTP_INTERNAL_H
#define POSTWALK_PAGE_HTTP_INTERNAL_H

#include <microhttpd.h>

#include "page_internal.h"

#define PW_FOLLOWS "Postwalk-Follows" /* a header of page.js: no hand asks, the page follows */

enum document {
	DOC_PAGE, DOC_STATUS, DOC_STYLE, DOC_DARK, DOC_SCRIPT, DOC_SILENT_PAGE, DOC_SILENT_STATUS,
	DOCS
};
#define VARIANTS (PW_LANGUAGES * PW_THEMES * 2) /* of the pages: one a choice */

struct kept_document {
	uint64_t drawn; /* of which snapshot */
	struct MHD_Response *response;
	char tag[24];   /* "" or a quoted entity tag */
};

struct slot { /* one connection, and when it must have been answered */
	bool used;
	int fd;
	int64_t deadline_ms;
};

struct pw_http {
	struct MHD_Daemon *daemon;
	struct pw_ask *ask;
	int64_t deadline_ms;
	struct kept_document doc[DOCS][VARIANTS];
	struct slot slot[PW_CONNECTIONS_MAX];
	bool ended;                  /* a connection, in the last run */
	struct pw_tokens tokens;
	int64_t told_ms;             /* that a form was turned away: when last */
	int64_t acts_ms;             /* the second that acts are counted in, and how many */
	unsigned acts;
	char buf[PW_HTML_MAX];
};

/* Something read, or a choice to be kept. */
struct route {
	const char *path;
	enum document doc, silent;
	const char *cookie; /* not a document: keeps ?to= in it and goes back to the page */
};

struct sent {
	size_t length; /* of the body, as it came */
	char body[PW_FORM_MAX + 1];
	struct pw_form form, query;
};

/* One request, from its headers to its answer. */
struct request {
	const struct route *route;
	const struct pw_leaf *leaf; /* or this */
	bool post;
	struct sent *sent;          /* NULL where nothing of it matters */
};

/* -- answer.c ---------------------------------------------------------------------------------- */

struct MHD_Response *pw_response(const char *text, size_t len, const char *type);
/* Takes r, which may be NULL. */
enum MHD_Result pw_send(struct MHD_Connection *c, unsigned status, struct MHD_Response *r);
struct pw_choice pw_choice_of(struct MHD_Connection *c);
void pw_add_language(struct MHD_Response *r, const struct pw_choice *c);

struct refusal {
	unsigned status;
	enum pw_word why;
	int64_t wait_ms;   /* 0, or after so long it may be tried again */
	const char *on;    /* a way on, or NULL */
	const char *allow; /* with 405: the methods that are */
	bool whole;        /* the request was read to its end: the connection may go on */
	bool over;         /* the browser shall forget its session */
};
/* A page of one sentence. */
enum MHD_Result pw_refuse(struct pw_http *h, struct MHD_Connection *c, const struct refusal *why);
enum MHD_Result pw_see_other(struct MHD_Connection *c, const char *to, const char *cookie);

#define PW_SESSION_OVER "session=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict"

/* -- document.c -------------------------------------------------------------------------------- */

const struct route *pw_route(const char *path);
enum MHD_Result pw_give(struct pw_http *h, struct MHD_Connection *c, const struct route *route);
enum MHD_Result pw_give_silent(struct pw_http *h, struct MHD_Connection *c);
enum MHD_Result pw_choose(struct pw_http *h, struct MHD_Connection *c, const struct request *r);

/* -- post.c ------------------------------------------------------------------------------------ */

const struct pw_leaf *pw_leaf_find(const char *path);
void pw_query(struct MHD_Connection *c, struct pw_form *f);
enum MHD_Result pw_leaf_shown(struct pw_http *h, struct MHD_Connection *c, struct request *r);
enum MHD_Result pw_leaf_sent(struct pw_http *h, struct MHD_Connection *c, struct request *r);
/* Once a second at most. */
void pw_tell_refused(struct pw_http *h, const char *why);

#endif
