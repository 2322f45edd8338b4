/* SPDX-License-Identifier: Apache-2.0 */
/*
 * delivery.h - what leaves the bus: a link to one office by docs/protocol.md, and the uplink process.
 *
 * A link is HTTPS by libcurl and is used by one thread. It never retries by itself: uplink.c does, with
 * back-off. why: one sentence, whatever went wrong.
 */
#ifndef POSTWALK_DELIVERY_H
#define POSTWALK_DELIVERY_H

#include "postwalk/keys.h"

#define PW_TOKEN_MAX 65 /* 64 hex digits and a zero */
#define PW_HEADS_MAX 16

/* -- place.c: the office, as enrolled: STATE/office.conf (0640) ---------------------------------------- */

struct pw_place {
	char url[256];           /* https://HOST[:PORT], or http:// of a loopback address */
	char ca[256];            /* a PEM file with certificates to trust; "": the system's */
	char pin[64];            /* "sha256//BASE64" of the server's public key; "": none */
	char token[PW_TOKEN_MAX];
	struct pw_public_key key; /* that signs its receipts */
};
/* 0; 1: not enrolled yet; -1, -2. ca is then the path of the copy below. */
int pw_place_load(const char *dir, struct pw_place *p, char *why, size_t size);
/* Copies what ca names to dir/office-ca.pem, writes the key to dir/office.pub (0644; the writer holds
 * receipts against it), and last dir/office.conf: without that one the bus is not enrolled. 0, -1, -2. */
int pw_place_save(const char *dir, const struct pw_place *p, char *why, size_t size);
/* Can such an office be asked at all? Of url, pin and ca. 0, -1, -2. */
int pw_place_check(const struct pw_place *p, char *why, size_t size);

/* -- link.c ------------------------------------------------------------------------------------------ */

struct pw_patience { int connect_s, whole_s, slow_bytes_s, slow_s; }; /* slower than that for slow_s: off */
extern const struct pw_patience pw_patience;

enum pw_said {
	PW_SAID_SO = 1,   /* 200 */
	PW_SAID_WAITS,    /* 202: a person in the office has to decide */
	PW_SAID_GAP,      /* 409: heads say from where */
	PW_SAID_REFUSED,  /* another 4xx: sending the same again is no use */
	PW_SAID_LATER,    /* 429, 5xx; not reached, cut off, too slow. retry_s: what it asked for, or 0 */
	PW_SAID_STRANGER  /* the certificate, the pin, or the receipt's signature is not the office's */
};
struct pw_heads {
	unsigned count;
	struct pw_head { char epoch[17], hash[65]; uint32_t branch; uint64_t seq; } head[PW_HEADS_MAX];
};
struct pw_reply {
	enum pw_said said;
	int retry_s;
	struct pw_heads heads;      /* of GET head and of GAP */
	bool fork;                  /* stored on a branch beside another: this journal was put back or cloned */
	struct pw_receipt receipt;  /* of records and alert: already held against the office's key */
	char why[200];
};

struct pw_link;
int pw_link_open(const struct pw_place *p, const struct pw_patience *patience, struct pw_link **link,
		 char *why, size_t size);
void pw_link_close(struct pw_link *link);
/* Heads of that epoch, all branches. */
void pw_link_heads(struct pw_link *link, const char *bus, const char *epoch,
		struct pw_reply *reply);
/* text: export lines as J10. begins: this journal has nothing before its first record (it was pruned). */
void pw_link_records(struct pw_link *link, const char *bus, const void *text, size_t length, bool begins,
		     struct pw_reply *reply);
void pw_link_alert(struct pw_link *link, const char *bus, const void *text, size_t length,
		   struct pw_reply *reply);
/* Enrols bus with a code; fills in key and token of p. SO or WAITS: p can be saved. office: the
 * fingerprint that its key must have, or NULL. */
void pw_link_enrol(struct pw_place *p, const char *bus, const char *code, const struct pw_secret_key *key,
		   const char *office, struct pw_reply *reply);

/* -- backoff.c: pure --------------------------------------------------------------------------------- */

/* ms until try number n (0: the first again): asked_s, and behind it a span drawn by the random number from
 * 0 up to 2 s, doubled with each n, 15 min at most (full jitter); 30 s at most while an alert waits. */
int64_t pw_backoff_ms(unsigned n, bool alert, int asked_s, uint32_t random);

/* -- uplink.c ---------------------------------------------------------------------------------------- */

/* The uplink of the bus whose state is in dir: a parent that starts, again and again, a child with fewer
 * rights (no capabilities, nobody where it was root; it has the socket and the network, and cannot read
 * the folder). Returns at SIGTERM or SIGINT: 0; 2: it cannot begin, said on standard error. */
int pw_uplink_run(const char *dir);
/* The bus whose watch runs in dir, as its writer says. An uplink that is connected begins anew. 0; 1: no
 * watch runs there. */
int pw_uplink_bus(const char *dir, char bus[PW_NAME_MAX]);

#endif
