/* SPDX-License-Identifier: Apache-2.0 */
/*
 * page_internal.h - what the page room shares inside.
 *
 *   page.c      the watch's side: address, process, snapshots handed over
 *   process.c   the page's side: rights given up, the loop
 *   ask.c       snapshots asked for, acts handed over
 *   http.c      requests, over libmicrohttpd; hosts.c: which Host they may name; answer.c: answers
 *   document.c  what is read; post.c: pages with forms, shown and sent
 *   form.c      what a form sends; token.c: that it is ours, and taken once
 *   leaf.c      the table of pages with forms; a file each: before.c, found.c, report.c, door.c,
 *               installer.c, strip.c, wiring_page.c, setup.c, mechanic.c; fields.c: forms' fields
 *   choice.c    language and colours, as the reader wants them
 *   say.c       what is said of a snapshot
 *   html.c      templates filled; lists.c: their tables; aisle.c: the bus from above
 *   status.c    /status.json
 *   sheet.c     bounded text, escaping
 *   words.c     what is said, in words; po.awk: its translations
 *   web.S       the files of web/bus, compiled in
 */
#ifndef POSTWALK_PAGE_INTERNAL_H
#define POSTWALK_PAGE_INTERNAL_H

#include <netinet/in.h>
#include <stddef.h>
#include <sys/socket.h>

#include "postwalk/page.h"
#include "choice.h"
#include "sheet.h"
#include "words.h"

#define PW_CONNECTIONS_MAX 32
#define PW_CONNECTIONS_AN_ADDRESS 8
#define PW_STATUS_MAX 49152
#define PW_HTML_MAX 131072

/* -- ask.c: both ends of the channel ----------------------------------------------------------- */

enum pw_call_kind { PW_CALL_READY = 1, PW_CALL_ASK, PW_CALL_WIRES, PW_CALL_ACT };
struct pw_call { /* from the page to the watch, one datagram */
	uint32_t version, size;
	enum pw_call_kind kind;
	uint32_t serial;   /* comes back in the answer */
	struct pw_act act; /* ACT; WIRES: its session */
};

enum pw_reply_kind { PW_REPLY_SNAPSHOT = 1, PW_REPLY_WIRES, PW_REPLY_ACT };
struct pw_reply_head {
	uint32_t version, size; /* of the whole */
	enum pw_reply_kind kind;
	uint32_t serial;        /* of the call */
};
struct pw_reply { /* from the watch to the page, cut to what the kind uses */
	struct pw_reply_head head;
	union {
		struct pw_snapshot snapshot;
		struct pw_wires wires;
		struct pw_done_act done;
	} of;
};
#define PW_REPLY_SIZE(member) \
	(sizeof(struct pw_reply_head) + sizeof(((struct pw_reply *)0)->of.member))
_Static_assert(offsetof(struct pw_reply, of) == sizeof(struct pw_reply_head), "no gap");

struct pw_ask {
	int channel;
	int64_t fresh_ms, wait_ms, rest_ms; /* kept so long; waited so long; then not asked for */
	int64_t act_wait_ms;                /* an act is waited for so long */
	bool have;
	uint64_t count;                     /* snapshots taken; tells one from the next */
	int64_t taken_ms, silent_until_ms;
	uint32_t serial;                    /* of the last call */
	struct pw_snapshot snapshot;
	struct pw_reply reply;              /* the last that came */
};

int64_t pw_boot_ms(void);
bool pw_call_send(int channel, enum pw_call_kind kind, uint32_t serial, const struct pw_act *act);
/* Bytes that came are a call, a reply of this version, size and shape. */
bool pw_call_ok(const struct pw_call *c, size_t size);
bool pw_reply_ok(const struct pw_reply *r, size_t size);
bool pw_snapshot_ok(const struct pw_snapshot *s);
bool pw_wires_ok(const struct pw_wires *w);
/* What the watch says: 100 ms old at most, or NULL. Waits wait_ms at most. */
const struct pw_snapshot *pw_ask(struct pw_ask *a);
/* The same of an act; the answer lives until the next call. NULL: the watch does not answer. */
const struct pw_done_act *pw_ask_act(struct pw_ask *a, const struct pw_act *act);
/* An act whose answer is not waited for. */
void pw_ask_tell(struct pw_ask *a, const struct pw_act *act);
/* An installer's session: wires, or NULL with why (NULL when the watch does not answer). */
const struct pw_wires *pw_ask_wires(struct pw_ask *a, const char *session,
				    const struct pw_done_act **why);
/* Takes what nobody asked for. False when the watch is gone. */
bool pw_ask_drain(struct pw_ask *a);

/* -- form.c: what was sent, by whom ---------------------------------------------------------------- */

#define PW_FORM_MAX 4096 /* bytes of a body */
#define PW_FIELDS_MAX 12
#define PW_VALUE_MAX 656 /* as many characters as PW_SAID_MAX has bytes, of four bytes each */
struct pw_form {
	unsigned count;
	bool spoiled; /* a field doubled, too long, one too many, or no UTF-8 text */
	struct { char name[24], value[PW_VALUE_MAX]; } field[PW_FIELDS_MAX];
};
/* "" when there is none of that name. */
const char *pw_form_value(const struct pw_form *f, const char *name);
/* A field, still escaped; both are decoded where they stand. What does not fit spoils the form. */
void pw_form_add(struct pw_form *f, char *name, char *value);
/* A body of application/x-www-form-urlencoded (the URL standard, 5.1), taken apart where it stands:
 * body[len] is written to. */
void pw_form_body(struct pw_form *f, char *body, size_t len);
/* Nothing but these fields, "what who", and the token. NULL: any. */
bool pw_form_only(const struct pw_form *f, const char *fields);

/* -- leaf.c: the pages with forms ------------------------------------------------------------------ */

/* Links of the choices are /lang?to=es&from=PATH and /theme?to=dark&from=PATH: they lead back to PATH,
 * "/" or a leaf's, with ?NAME=VALUE of what it asks. */
struct pw_piece;

/* A look at a page, all of it vetted. */
struct pw_visit {
	const struct pw_choice *choice;
	const struct pw_snapshot *s;
	const struct pw_wires *wires;   /* NULL but for leaves that want them */
	const struct pw_form *query;    /* of the address */
	const struct pw_form *sent;     /* of the form that was turned down, to be shown again; or NULL */
	enum pw_role role;              /* of the session */
	int64_t session_left_ms;        /* until it ends if nothing is done */
	const char *token;              /* the hidden field `token` of each form of this page */
	enum pw_word refusal;           /* why the form was turned down, or NONE; shown first */
	int64_t wait_ms;                /* with some refusals: so long yet */
};

struct pw_leaf {
	const char *path; /* its forms are sent there too */
	enum pw_role role; /* whose session it needs; PW_NOBODY: none */
	bool wires;
	enum pw_word title;
	const char *template; /* of web/bus; NULL: see put; both NULL: there is only the form's POST */
	const struct pw_piece *pieces; /* of leaf.h: the template's own */
	bool follows;         /* it is taken anew every second */
	const char *fields;   /* that its forms send besides the token: "what who"; NULL: any */
	const char *asks;     /* the parameter of the address that it knows, or NULL: [a-z0-9_]* */
	/* A form into an act (session and serial are http.c's). NONE, or what is wrong with it. */
	enum pw_word (*read)(const struct pw_form *f, const struct pw_snapshot *s, struct pw_act *act);
	/* Where to go when it was done (303). */
	const char *(*then)(const struct pw_act *act);
	/* A leaf that is no HTML (capture.vcd): its type, its text. */
	const char *type;
	int (*put)(const struct pw_visit *v, char *buf, size_t size);
};
extern const struct pw_leaf pw_leaves[];
extern const size_t pw_leaf_count;

/* Length, or -1 when buf is too small. */
int pw_html_leaf(const struct pw_leaf *leaf, const struct pw_visit *v, char *buf, size_t size);
/* A request that no leaf can show again: a page of one sentence, with a way on (a path, or NULL). */
int pw_html_refusal(const struct pw_choice *c, enum pw_word why, int64_t wait_ms, const char *on,
		    char *buf, size_t size);
/* An answer that is not PW_DONE_SO, in words. */
enum pw_word pw_say_answer(enum pw_answer answer);

/* -- token.c: a form is of this page, of this visitor, and is taken once ----------------------------- */

#define PW_VISIT_MAX 65  /* the cookie `visit`: 256 random bits as hex, and a zero */
#define PW_TOKEN_MAX 128
#define PW_TOKENS_USED 256
#define PW_TOKEN_MS 1800000

struct pw_tokens {
	unsigned char key[32];     /* drawn at the start of the process */
	int64_t floor_ms;          /* older ones are not taken: their use is no longer known */
	unsigned used;
	struct { int64_t at_ms; unsigned char nonce[16]; } ring[PW_TOKENS_USED];
};
enum pw_token_answer { PW_TOKEN_GOOD = 1, PW_TOKEN_FORGED, PW_TOKEN_OLD, PW_TOKEN_USED_UP };

void pw_tokens_begin(struct pw_tokens *t);
void pw_token_new(const struct pw_tokens *t, const char *visit, const char *path, int64_t now_ms,
		  char token[PW_TOKEN_MAX]);
/* GOOD once: it is used by this. */
enum pw_token_answer pw_token_take(struct pw_tokens *t, const char *visit, const char *path,
				   const char *token, int64_t now_ms);

/* -- say.c ------------------------------------------------------------------------------------- */

struct pw_said {
	const char *look; /* names the panel's colours and shape */
	enum pw_word state, headline, next;
	enum pw_word hindrance; /* why a press did not or would not count, or NONE */
	int64_t more_ms;        /* TOO_SOON: so long yet */
	enum pw_word clock;     /* what the large figure tells, or NONE */
	int64_t clock_ms;
};

void pw_say(const struct pw_snapshot *s, struct pw_said *said);
enum pw_word pw_say_verdict(enum pw_verdict verdict);
enum pw_word pw_say_finding(enum pw_finding finding);
/* In words: NONE for a board's own lines. */
enum pw_word pw_say_line(unsigned line);
enum pw_word pw_say_level_of(unsigned line, bool level);
enum pw_word pw_say_level(const struct pw_snapshot *s, unsigned line);
bool pw_line_level(const struct pw_snapshot *s, unsigned line);
/* b - a, or -1 when one of them has not been. */
int64_t pw_span_ms(int64_t a_ms, int64_t b_ms);

/* -- html.c, lists.c, status.c ----------------------------------------------------------------- */

#define PW_CLOCK_MAX 48
/* "0:42", "1:05:00"; counted down: rounded up, so that 0:00 is reached when it is. */
void pw_clock_text(int64_t ms, bool down, char text[PW_CLOCK_MAX]);
void pw_wall_text(int64_t wall_ms, const char *format, char text[PW_CLOCK_MAX]); /* local time */

/* Lengths, or -1 when buf is too small. */
int pw_html_page(const struct pw_snapshot *s, const struct pw_choice *c, char *buf, size_t size);
/* The watch does not answer. */
int pw_html_silent(const struct pw_choice *c, char *buf, size_t size);
void pw_list_notes(struct pw_sheet *t, const struct pw_snapshot *s);
void pw_list_faults(struct pw_sheet *t, const struct pw_snapshot *s);
void pw_list_lines(struct pw_sheet *t, const struct pw_snapshot *s);
void pw_list_recent(struct pw_sheet *t, const struct pw_snapshot *s);
/* A mark of what a status says but for the passing of time, as 16 hex digits. */
void pw_status_tag(const struct pw_snapshot *s, char tag[17]);

/* -- aisle.c: the bus from above, and where the walk should be by the policy's pace ----------- */

#define PW_ROWS_MAX 60 /* the policy allows no more */

struct pw_pace {
	enum pw_word word; /* PW_W_PACE_ROW, _REAR, _DOOR, _FRONT; NONE: no walk is due */
	int64_t row;       /* 1 at the front, or 0 */
	bool back;         /* the second look, rear to front */
	int64_t gone_ms, all_ms; /* since it began, and how long it takes by the policy */
};

/* It tells of time and the policy, never of anybody's place. */
void pw_pace(const struct pw_snapshot *s, struct pw_pace *pace);
void pw_aisle(struct pw_sheet *t, const struct pw_snapshot *s);

/* -- web.S ------------------------------------------------------------------------------------- */

extern const char pw_web_page[], pw_web_silent[], pw_web_style[], pw_web_dark[],
	pw_web_script[];

/* -- http.c, process.c: the page process ------------------------------------------------------- */

struct pw_page_limits {
	unsigned idle_s;     /* a connection on which nothing moves */
	int64_t deadline_ms; /* from the connection or the last answer to the next answer */
	int64_t ask_wait_ms, ask_rest_ms, act_wait_ms;
};
extern const struct pw_page_limits pw_page_limits;

struct pw_http;
struct pw_http *pw_http_new(int listener, struct pw_ask *ask, const struct pw_page_limits *l);
int pw_http_fd(const struct pw_http *h);
/* Works on what is ready; closes what is past its deadline. */
void pw_http_run(struct pw_http *h, int64_t now_ms);
int pw_http_wait_ms(const struct pw_http *h, int64_t now_ms); /* until it must run, -1: for ever */
void pw_http_free(struct pw_http *h);
/* Host: names this machine, or the address at which it was reached. */
bool pw_host_allowed(const char *host, const struct sockaddr *reached_at);

enum { PW_PAGE_NO_RIGHTS = 3, PW_PAGE_NO_HTTP = 4 }; /* statuses of the process */
/* Serves until the watch is gone. A status. */
int pw_page_serve(int listener, int channel, const struct pw_page_limits *l);
/* All of the page process; does not return. */
_Noreturn void pw_page_process(int listener, int channel, pid_t watch);

#endif
