/* SPDX-License-Identifier: Apache-2.0 */
/* uplink_internal.h - what the files of the uplink share. */
#ifndef POSTWALK_UPLINK_INTERNAL_H
#define POSTWALK_UPLINK_INTERNAL_H

#include <curl/curl.h>
#include <jansson.h>
#include <stdarg.h>
#include <sys/types.h>
#include <syslog.h>

#include "postwalk/delivery.h"
#include "postwalk/stretch.h"

#define PW_ANSWER_MAX (1 << 20) /* bytes of an answer; what is longer is none */
#define PW_TRUST_MAX (1 << 20)  /* of a file of certificates */
#define PW_PATH_MAX 4096

int64_t pw_uplink_now_ms(void); /* CLOCK_BOOTTIME */
/* One line on standard error, as the watch's. level: of syslog.h. */
__attribute__((format(printf, 2, 3))) void pw_uplink_log(int level, const char *format, ...);
/* Of what another said: what moves a cursor, or is no UTF-8, becomes "?". */
void pw_plain(char *text);
void pw_fit(char *to, size_t size, const char *text); /* as much as fits, no character cut in two */

/* -- place.c, url.c ---------------------------------------------------------------------------- */

int pw_url_check(const char *url, char *why, size_t size); /* 0 or -2 */
/* The certificates that p names, as text to be freed; NULL: it names none. 0, -1, -2. */
int pw_place_trust(const struct pw_place *p, char **pem, char *why, size_t size);

/* -- link.c: one request and its answer -------------------------------------------------------- */

struct pw_link {
	struct pw_place place;
	CURL *curl;
	CURLU *url;
	char error[CURL_ERROR_SIZE];
	char *text;         /* of the answer */
	size_t length, size;
	bool too_long;
	bool packs;         /* the office takes zstd */
};
struct pw_question {
	const char *path, *query; /* query NULL: none */
	const void *body;         /* NULL: GET */
	size_t length;
	const char *type;         /* of the body */
	bool packed;              /* it is zstd */
};
struct pw_answer {
	long status;
	int retry_s;
	const char *text; /* lives until the next question */
	size_t length;
};
/* False: there is no answer, and reply says why. */
bool pw_link_ask(struct pw_link *link, const struct pw_question *q, struct pw_answer *a,
		 struct pw_reply *reply);

/* -- answer.c ---------------------------------------------------------------------------------- */

/* What the answer means, into reply. The object that it is (json_decref gives it back), or NULL. */
json_t *pw_answer_read(const struct pw_answer *a, struct pw_reply *reply);
/* That it is not what docs/protocol.md has. */
void pw_answer_is_strange(struct pw_reply *reply, const char *expected);
__attribute__((format(printf, 3, 4)))
void pw_reply_set(struct pw_reply *reply, enum pw_said said, const char *format, ...);
int pw_heads_read(const json_t *answer, struct pw_heads *heads); /* 0 or -1 */

/* heads.c: GET /v1/office. Is its key that of the place (where that has one)? */
void pw_link_office(struct pw_link *link, struct pw_public_key *key, struct pw_reply *reply);

/* -- hands.c: the writer ----------------------------------------------------------------------- */

struct pw_hands {
	int fd;
	int64_t wait_ms;  /* for an answer; then the writer counts as gone */
	uint32_t alerts;  /* as last told */
	bool news;        /* something was told unasked */
};
int pw_hands_open(const char *dir); /* fd, or -1 with errno */
/* Asks h->kind and takes the answer to it in h, with its text (to be freed; NULL: none). 0; -1: the
 * writer is gone. */
int pw_hands_ask(struct pw_hands *w, struct pw_hand *h, char **text, size_t *length);
void pw_hands_say(struct pw_hands *w, enum pw_delivery_state state, const char *words);
int pw_hands_drain(struct pw_hands *w); /* takes what was told unasked. 0; -1: the writer is gone */

/* -- contact.c, alert.c, turns.c --------------------------------------------------------------- */

struct pw_uplink_pace {
	int64_t (*backoff_ms)(unsigned n, bool alert, int asked_s, uint32_t random);
	int64_t look_ms;    /* with nothing to do: until a look whether something was missed */
	int64_t network_ms; /* between two tries that the network's coming set off */
	int64_t answer_ms;  /* for the writer to answer */
};
extern const struct pw_uplink_pace pw_uplink_pace;

/* When something is to be tried, and how often it was in vain. */
struct pw_turn {
	int64_t at_ms, asked_ms; /* asked_ms: not before, says the office */
	unsigned tries;
};
struct pw_uplink {
	struct pw_hands hands;
	struct pw_link *link;
	const struct pw_uplink_pace *pace;
	int network;        /* -1: none */
	int64_t network_ms; /* when that last set off a try */
	struct pw_turn records, alerts;
	bool idle;          /* all that is sealed was receipted when last looked */
	bool forked;        /* the last receipt was for a chain beside another */
	enum pw_delivery_state state;
	char words[160];
};
/* Until the writer is gone. The hands' fd stays open. */
void pw_uplink_turns(struct pw_uplink *u);
void pw_uplink_tell(struct pw_uplink *u, enum pw_delivery_state state, const char *words);
/* What is to be said of an answer that was not yes, and when to try again. */
void pw_uplink_failed(struct pw_uplink *u, struct pw_turn *turn, const struct pw_reply *reply);
void pw_uplink_hurry(struct pw_uplink *u); /* the network came: what waits is tried soon */
/* 0; -1: the writer is gone. */
int pw_uplink_contact(struct pw_uplink *u);
int pw_uplink_alerts(struct pw_uplink *u); /* those whose turn it is */
/* Hands over a receipt. 1: taken; 0: not, reply says why; -1: the writer is gone. */
int pw_uplink_hand_over(struct pw_uplink *u, const struct pw_receipt *r, struct pw_reply *reply);

/* -- network.c: an address or a route came ----------------------------------------------------- */

int pw_network_open(void); /* fd, or -1 */
bool pw_network_came(int fd);

/* -- child.c ----------------------------------------------------------------------------------- */

enum { PW_UPLINK_GONE = 10, PW_UPLINK_NO_WATCH, PW_UPLINK_NO_PLACE, PW_UPLINK_NO_RIGHTS };
_Noreturn void pw_uplink_child(const char *dir, pid_t parent);
/* Gives up what this process needs no more: capabilities, the user (root alone can), every
 * descriptor but standard error and these, which become 3 and 4 (-1: stays none). 0 or -1. */
int pw_uplink_drop(int *hands, int *network);

#endif
