/* SPDX-License-Identifier: Apache-2.0 */
/* intake_internal.h - what the files that take in, serve and obey share. */
#ifndef POSTWALK_INTAKE_INTERNAL_H
#define POSTWALK_INTAKE_INTERNAL_H

#include <jansson.h>
#include <sys/socket.h>

#include "office_internal.h"
#include "tell_internal.h"

#define PW_BATCH_BYTES_MAX (1 << 20) /* of text, and of what it is packed in */
#define PW_BODIES_MAX (76 << 20)     /* over all connections, 300 of 256 KiB; beyond: 503 */
#define PW_BODIES_A_BUS 4
#define PW_CODE_DAYS 14              /* an enrolment code is good for so long */
#define PW_TOKEN_DIGITS 64
#define PW_HEADS_GIVEN 16            /* those that moved last */

/* -- address.c --------------------------------------------------------------------------------- */

/* ADDRESS:PORT in digits. */
bool pw_office_address(const char *text, struct sockaddr_storage *at, socklen_t *length);
bool pw_office_loopback(const char *text);

/* -- unpack.c: identity, gzip (zlib), zstd; never more than most bytes, whatever it claims ----- */

enum pw_packing { PW_PACK_NONE = 1, PW_PACK_GZIP, PW_PACK_ZSTD };
/* *text is malloced. 0; -1: no memory; -2: not such a stream, or cut off; -3: more than most. */
int pw_unpack(enum pw_packing packing, const void *body, size_t length, size_t most, char **text,
	      size_t *out, char *why, size_t size);

/* -- roll.c ------------------------------------------------------------------------------------ */

/* Who may speak as which bus, in memory, so that no request waits for the store to be known. What
 * is in the store comes first; this follows it. Any thread. */
enum pw_known { PW_KNOWN_NOT = 1, PW_KNOWN_SO, PW_KNOWN_WAITS, PW_KNOWN_REFUSED };
struct pw_roll;
/* All that the store has. 0, -1, -2. */
int pw_roll_load(struct pw_store *s, struct pw_roll **roll, char *why, size_t size);
void pw_roll_free(struct pw_roll *roll);
/* key: of the bus, with SO. Tokens are compared in constant time. */
enum pw_known pw_roll_ask(struct pw_roll *roll, const char *bus, const char *token,
			  struct pw_public_key *key);
bool pw_roll_has(struct pw_roll *roll, const char *bus); /* enrolled, with a key */
/* A row as it is now. Where there is no memory for it, its bus is unknown until the next start. */
void pw_roll_bus(struct pw_roll *roll, const struct pw_bus_row *row);
void pw_roll_key(struct pw_roll *roll, const struct pw_key_row *row);
/* One bus alone cannot take all the room. False: it has PW_BODIES_A_BUS under way. */
bool pw_roll_enter(struct pw_roll *roll, const char *bus);
void pw_roll_leave(struct pw_roll *roll, const char *bus);
/* True once an hour a bus: what it sends is not sound, and that is noted. */
bool pw_roll_note_refused(struct pw_roll *roll, const char *bus, int64_t now_ms);
void pw_token_hash(const char *token, char hash[65]);

/* -- record_line.c ----------------------------------------------------------------------------- */

/* True: it is a record line, and r is what pw_export_read makes of it, its body in body (room for
 * length bytes at least). False: it may be one all the same. */
bool pw_record_line(const char *text, size_t length, char *body, struct pw_record *r);

/* -- guesses.c: wrong enrolment codes, by the address that they come from; pure ---------------- */

#define PW_GUESSES_FREE 10      /* of one address, then one a PW_GUESS_MS */
#define PW_GUESS_MS 60000
#define PW_GUESSERS 64
struct pw_guesses {
	struct { char address[46]; int64_t paid_ms; } of[PW_GUESSERS]; /* paid_ms: all is over */
};
/* 0: it may be tried; else in so many ms. */
int64_t pw_guess_wait_ms(const struct pw_guesses *g, const char *address, int64_t now_ms);
void pw_guess_wrong(struct pw_guesses *g, const char *address, int64_t now_ms);

/* -- enrol.c ----------------------------------------------------------------------------------- */

#define PW_CODE_LETTERS 20
#define PW_CODE_MAX_TEXT 25 /* five groups with hyphens between, and a zero */
void pw_code_draw(char code[PW_CODE_MAX_TEXT]);
/* SHA-256 of its twenty letters, however they are spelled. -1: it is no code. */
int pw_code_hash(const char *code, char hash[65]);

struct pw_enrolment {
	char bus[PW_NAME_MAX], code_hash[65];
	struct pw_public_key key;
	int64_t now_ms;
	/* What became of it. */
	enum { PW_ENROL_CODE = 1, PW_ENROL_SO, PW_ENROL_WAITS } how; /* CODE: it is not right */
	char token[PW_TOKEN_DIGITS + 1];
	struct pw_bus_row row;   /* SO */
	struct pw_key_row asked; /* WAITS */
};
/* A body of POST /v1/enrol, its signature checked. 0; -2 with wrong. */
int pw_enrol_read(const char *text, size_t length, struct pw_enrolment *e, struct pw_wrong *wrong);
/* ctx: struct pw_enrolment. Within the transaction that stands. */
int pw_enrol_work(struct pw_store *s, void *ctx, char *why, size_t size);
/* The roll and the log hear of it, after the commit. */
void pw_enrol_done(struct pw_office *o, const struct pw_enrolment *e);

/* -- take.c: a checked batch into the store ---------------------------------------------------- */

enum pw_taken { PW_TAKEN_SO = 1, PW_TAKEN_GAP };
/* Within the transaction that stands. Overlap is passed over, a fork begins a branch and a matter,
 * a hole (begins) likewise. fresh: how many records were new; fork: it is on a branch beside
 * another. */
struct pw_took { enum pw_taken how; uint64_t fresh; bool fork; };
int pw_take(struct pw_store *s, const struct pw_batch *b, int64_t now_ms, struct pw_took *took,
	    char *why, size_t size);
int pw_take_alert(struct pw_store *s, const struct pw_batch *b, int64_t now_ms,
		  struct pw_took *took, char *why, size_t size);
/* [{"epoch":,"branch":,"seq":,"hash":},...]: PW_HEADS_GIVEN at most. NULL with why. */
json_t *pw_take_heads(struct pw_store *s, const char *bus, const char *epoch, int *result,
		      char *why, size_t size);

/* -- server.c: HTTP(S) by libmicrohttpd; docs/protocol.md -------------------------------------- */

struct pw_server;
int pw_server_start(struct pw_office *o, struct pw_server **server, char *why, size_t size);
void pw_server_stop(struct pw_server *server);
uint16_t pw_server_port(const struct pw_server *server);

/* -- commands.c, control.c: the shell ---------------------------------------------------------- */

/* One command, argv[0] its name, given in the folder cwd, on the desk of o; what it says goes to
 * out, errors to err. Exit status: 0; 1 not done; 2 not as expected. */
int pw_command(struct pw_office *o, int argc, char **argv, const char *cwd, FILE *out, FILE *err);
void pw_command_help(FILE *out);
struct pw_control;
int pw_control_start(struct pw_office *o, struct pw_control **control, char *why, size_t size);
void pw_control_stop(struct pw_control *control);
/* To the process that owns dir. -1: none runs there; else its exit status. */
int pw_control_ask(const char *dir, int argc, char **argv);

#endif
