/* SPDX-License-Identifier: Apache-2.0 */
/*
 * page_internal.h - what the page room shares inside.
 *
 *   page.c      the watch's side: address, process, snapshots handed over
 *   process.c   the page's side: rights given up, the loop
 *   ask.c       snapshots asked for
 *   http.c      requests and answers, over libmicrohttpd
 *   say.c       what is said of a snapshot
 *   html.c      templates filled; lists.c: their tables
 *   status.c    /status.json
 *   sheet.c     bounded text, escaping
 *   web.S       the files of web/bus, compiled in
 */
#ifndef POSTWALK_PAGE_INTERNAL_H
#define POSTWALK_PAGE_INTERNAL_H

#include <netinet/in.h>
#include <sys/socket.h>

#include "postwalk/page.h"
#include "words.h"

#define PW_CONNECTIONS_MAX 32
#define PW_CONNECTIONS_AN_ADDRESS 8
#define PW_STATUS_MAX 49152
#define PW_HTML_MAX 131072

/* -- sheet.c: text into a buffer of fixed size ------------------------------------------------- */

struct pw_sheet {
	char *buf;
	size_t size, len;
	bool over; /* something did not fit: all of it is void */
};

void pw_sheet_open(struct pw_sheet *t, char *buf, size_t size);
int pw_sheet_close(const struct pw_sheet *t); /* length without the closing zero, or -1 */
void pw_sheet_raw(struct pw_sheet *t, const char *s);
void pw_sheet_bytes(struct pw_sheet *t, const char *s, size_t len);
void pw_sheet_fmt(struct pw_sheet *t, const char *fmt, ...)
	__attribute__((format(printf, 2, 3))); /* 127 characters at most */
void pw_sheet_html(struct pw_sheet *t, const char *s); /* for content and quoted attributes */
void pw_sheet_json(struct pw_sheet *t, const char *s); /* with its quotes */
/* A word, escaped for HTML, a for {1} and b for {2}. */
void pw_sheet_word(struct pw_sheet *t, enum pw_word word, const char *a, const char *b);

/* -- ask.c: both ends of the channel ----------------------------------------------------------- */

enum pw_call_kind { PW_CALL_READY = 1, PW_CALL_ASK };
struct pw_call { /* from the page to the watch, one datagram */
	uint32_t version, size;
	enum pw_call_kind kind;
};

struct pw_ask {
	int channel;
	int64_t fresh_ms, wait_ms, rest_ms; /* kept so long; waited so long; then not asked for */
	bool have;
	uint64_t count;                     /* snapshots taken; tells one from the next */
	int64_t taken_ms, silent_until_ms;
	struct pw_snapshot snapshot;
};

int64_t pw_boot_ms(void);
bool pw_call_send(int channel, enum pw_call_kind kind);
/* Bytes that came are a snapshot of this version, size and shape. */
bool pw_snapshot_ok(const void *bytes, size_t size);
/* What the watch says: 100 ms old at most, or NULL. Waits wait_ms at most. */
const struct pw_snapshot *pw_ask(struct pw_ask *a);
/* Takes what nobody asked for. False when the watch is gone. */
bool pw_ask_drain(struct pw_ask *a);

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
int pw_html_page(const struct pw_snapshot *s, char *buf, size_t size);
int pw_html_silent(char *buf, size_t size); /* the watch does not answer */
void pw_list_notes(struct pw_sheet *t, const struct pw_snapshot *s);
void pw_list_faults(struct pw_sheet *t, const struct pw_snapshot *s);
void pw_list_lines(struct pw_sheet *t, const struct pw_snapshot *s);
void pw_list_recent(struct pw_sheet *t, const struct pw_snapshot *s);
/* A mark of what a status says but for the passing of time, as 16 hex digits. */
void pw_status_tag(const struct pw_snapshot *s, char tag[17]);

/* -- web.S ------------------------------------------------------------------------------------- */

extern const char pw_web_page[], pw_web_silent[], pw_web_style[];

/* -- http.c, process.c: the page process ------------------------------------------------------- */

struct pw_page_limits {
	unsigned idle_s;     /* a connection on which nothing moves */
	int64_t deadline_ms; /* from the connection or the last answer to the next answer */
	int64_t ask_wait_ms, ask_rest_ms;
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
