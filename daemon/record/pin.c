/* SPDX-License-Identifier: Apache-2.0 */
/*
 * PINs and their wrong tries. STATE/pin.ROLE is one line, an argon2id text. STATE/pin.ROLE.tries is
 *
 *	postwalk-tries-v1
 *	count N
 *	boot_id B
 *	at_ms MS
 *	sha256 of the lines before
 *
 * on the clock of boot B. A try holds the folder, so that no two are looked at on one count.
 */
#include "record_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#define OPSLIMIT 3
#define MEMLIMIT (16u << 20) /* bytes */

#define FREE_TRIES 2 /* the third wrong one is the first that has to be waited for */
#define FIRST_WAIT_MS 5000
#define LONGEST_WAIT_MS 900000
#define TRIES_MAX 1000

#define FILE_MAX 256

struct tries {
	uint32_t count;
	char boot_id[PW_BOOT_ID_MAX];
	int64_t at_ms;
};

struct pin {
	int dir;
	char name[32], tries_name[40];
	const char *state_dir;
	char *why;
	size_t size;
};

const char *pw_role_name(enum pw_role role)
{
	static const char *const names[PW_ROLES] = {
		"none", [PW_NOBODY] = "nobody", [PW_INSTALLER] = "installer",
		[PW_MECHANIC] = "mechanic",
	};

	return (unsigned)role < PW_ROLES ? names[role] : "none";
}

enum pw_role pw_role_find(const char *name)
{
	for (enum pw_role r = PW_INSTALLER; name != NULL && r < PW_ROLES; r++)
		if (strcmp(pw_role_name(r), name) == 0)
			return r;
	return PW_NOBODY;
}

/* -- the folder -------------------------------------------------------------------------------- */

static int trouble(const struct pin *p, const char *name)
{
	snprintf(p->why, p->size, "%s%s%s: %s", p->state_dir, name[0] != '\0' ? "/" : "", name,
		 strerror(errno));
	return -1;
}

static int begin(struct pin *p, const char *state_dir, enum pw_role role, char *why, size_t size)
{
	*p = (struct pin){ .dir = -1, .state_dir = state_dir, .why = why, .size = size };
	why[0] = '\0';
	if (role != PW_INSTALLER && role != PW_MECHANIC) {
		snprintf(why, size, "a PIN is an installer's or a mechanic's");
		return -1;
	}
	snprintf(p->name, sizeof(p->name), "pin.%s", pw_role_name(role));
	snprintf(p->tries_name, sizeof(p->tries_name), "%s.tries", p->name);
	if (sodium_init() < 0) {
		snprintf(why, size, "no random numbers can be had");
		return -1;
	}
	p->dir = pw_whole_open(state_dir);
	if (p->dir < 0 || flock(p->dir, LOCK_EX) < 0)
		return trouble(p, "");
	return 0;
}

static void end(struct pin *p)
{
	if (p->dir >= 0)
		close(p->dir);
}

/* -- tries ------------------------------------------------------------------------------------- */

static void tries_text(const struct tries *t, char text[FILE_MAX])
{
	char hash[65];
	int n = snprintf(text, FILE_MAX, "postwalk-tries-v1\ncount %" PRIu32 "\nboot_id %s\nat_ms %"
			 PRId64 "\n", t->count, t->boot_id, t->at_ms);

	pw_sha256_hex(&(struct iovec){ .iov_base = text, .iov_len = (size_t)n }, 1, hash);
	snprintf(text + n, FILE_MAX - (size_t)n, "sha256 %s\n", hash);
}

static bool tries_parse(const char *text, struct tries *t)
{
	char again[FILE_MAX];

	memset(t, 0, sizeof(*t));
	if (sscanf(text, "postwalk-tries-v1\ncount %" SCNu32 "\nboot_id %39s\nat_ms %" SCNd64,
		   &t->count, t->boot_id, &t->at_ms) != 3)
		return false;
	tries_text(t, again); /* only the very same text is a whole one */
	return strcmp(text, again) == 0 && t->count <= TRIES_MAX;
}

static int tries_write(const struct pin *p, const struct tries *t)
{
	char text[FILE_MAX];

	tries_text(t, text);
	return pw_whole_write(p->dir, p->tries_name, 0600, text) < 0 ? trouble(p, p->tries_name) : 0;
}

/* What cannot be read as it was written counts as all the tries there may be, as of now. 0, or -1. */
static int tries_read(const struct pin *p, int64_t now_ms, const char *boot_id, struct tries *t)
{
	char text[FILE_MAX];
	ssize_t length = pw_whole_read(p->dir, p->tries_name, text, sizeof(text));
	const int error = errno;
	bool whole = length >= 0 && strlen(text) == (size_t)length && tries_parse(text, t);

	if (length < 0 && error != ENOENT && error != EISDIR && error != EIO)
		return trouble(p, p->tries_name);
	if (length < 0 && error == ENOENT) {
		memset(t, 0, sizeof(*t));
		whole = true;
	}
	if (whole && (strcmp(t->boot_id, boot_id) != 0 || t->at_ms <= now_ms))
		return 0;
	*t = (struct tries){ .count = TRIES_MAX, .at_ms = now_ms };
	snprintf(t->boot_id, sizeof(t->boot_id), "%s", boot_id);
	return tries_write(p, t);
}

static int64_t wait_after(uint32_t count)
{
	int64_t wait_ms = FIRST_WAIT_MS;

	if (count <= FREE_TRIES)
		return 0;
	for (uint32_t i = FREE_TRIES + 1; i < count && wait_ms < LONGEST_WAIT_MS; i++)
		wait_ms *= 2;
	return wait_ms < LONGEST_WAIT_MS ? wait_ms : LONGEST_WAIT_MS;
}

/* In another boot no clock says how long it has been: the wait is counted from its beginning. */
static int64_t wait_left(const struct tries *t, int64_t now_ms, const char *boot_id)
{
	int64_t since_ms = strcmp(t->boot_id, boot_id) == 0 ? t->at_ms : 0;
	int64_t left_ms = wait_after(t->count) - (now_ms - since_ms);

	return left_ms > 0 ? left_ms : 0;
}

/* -- the PIN itself ---------------------------------------------------------------------------- */

/* 0; PW_PIN_NONE; PW_PIN_TROUBLE with why. */
static int hash_read(const struct pin *p, char hash[crypto_pwhash_STRBYTES])
{
	ssize_t length = pw_whole_read(p->dir, p->name, hash, crypto_pwhash_STRBYTES);

	if (length < 0 && errno == ENOENT)
		return PW_PIN_NONE;
	if (length < 0) {
		trouble(p, p->name);
		return PW_PIN_TROUBLE;
	}
	hash[strcspn(hash, "\n")] = '\0';
	if (crypto_pwhash_argon2id_str_needs_rehash(hash, OPSLIMIT, MEMLIMIT) != 0) {
		snprintf(p->why, p->size, "%s/%s is not as it was written: set the PIN anew",
			 p->state_dir, p->name);
		return PW_PIN_TROUBLE;
	}
	return 0;
}

static enum pw_pin_answer look(const struct pin *p, const char *hash, const char *pin)
{
	size_t length = pin != NULL ? strnlen(pin, PW_PIN_MAX) : PW_PIN_MAX;

	if (length < PW_PIN_LEAST || length == PW_PIN_MAX)
		return PW_PIN_WRONG;
	errno = 0;
	if (crypto_pwhash_str_verify(hash, pin, length) == 0)
		return PW_PIN_RIGHT;
	if (errno != ENOMEM)
		return PW_PIN_WRONG;
	snprintf(p->why, p->size, "no memory to look at a PIN");
	return PW_PIN_TROUBLE;
}

static enum pw_pin_answer try_counted(const struct pin *p, const char *hash, const char *pin,
				      struct tries *t, int64_t *wait_ms)
{
	enum pw_pin_answer answer;

	if (tries_write(p, t) < 0)
		return PW_PIN_TROUBLE;
	answer = look(p, hash, pin);
	if (answer == PW_PIN_RIGHT) { /* a count that stays only makes later tries wait */
		t->count = 0;
		tries_write(p, t);
	} else {
		*wait_ms = wait_after(t->count);
	}
	return answer;
}

static enum pw_pin_answer try(const struct pin *p, const char *pin, int64_t now_ms,
			      const char *boot_id, int64_t *wait_ms)
{
	char hash[crypto_pwhash_STRBYTES];
	struct tries t;
	int result = hash_read(p, hash);

	if (result != 0)
		return (enum pw_pin_answer)result;
	if (tries_read(p, now_ms, boot_id, &t) < 0)
		return PW_PIN_TROUBLE;
	*wait_ms = wait_left(&t, now_ms, boot_id);
	if (*wait_ms > 0)
		return PW_PIN_WAIT;
	t.count += t.count < TRIES_MAX;
	t.at_ms = now_ms;
	snprintf(t.boot_id, sizeof(t.boot_id), "%s", boot_id);
	return try_counted(p, hash, pin, &t, wait_ms);
}

enum pw_pin_answer pw_pin_try(const char *state_dir, enum pw_role role, const char *pin, int64_t now_ms,
			      const char *boot_id, int64_t *wait_ms, char *why, size_t size)
{
	enum pw_pin_answer answer = PW_PIN_TROUBLE;
	struct pin p;

	*wait_ms = 0;
	if (boot_id == NULL || !pw_chain_word(boot_id) || strlen(boot_id) >= PW_BOOT_ID_MAX
	    || now_ms < 0) {
		snprintf(why, size, "which boot of the board this is, and since when, is not known");
		return PW_PIN_TROUBLE;
	}
	if (begin(&p, state_dir, role, why, size) == 0)
		answer = try(&p, pin, now_ms, boot_id, wait_ms);
	end(&p);
	return answer;
}

/* -- setting ----------------------------------------------------------------------------------- */

/* How a character follows another: 1 counts up, -1 down, 0 is the same; 9 and 0 are neighbours. */
static int step(char from, char to)
{
	if (from == '9' && to == '0')
		return 1;
	if (from == '0' && to == '9')
		return -1;
	return to - from;
}

static bool is_plain(const char *pin)
{
	int first = step(pin[0], pin[1]);

	if (first < -1 || first > 1)
		return false;
	for (size_t i = 1; pin[i + 1] != '\0'; i++)
		if (step(pin[i], pin[i + 1]) != first)
			return false;
	return true;
}

static const char *refuse(const char *pin)
{
	size_t length = strnlen(pin, PW_PIN_MAX);

	if (length < PW_PIN_LEAST || length == PW_PIN_MAX)
		return "a PIN has 6 to 64 characters";
	for (size_t i = 0; i < length; i++)
		if (pin[i] < ' ' || pin[i] > '~')
			return "a PIN is of printable ASCII characters";
	if (is_plain(pin))
		return "a PIN does not repeat one character or just count up or down";
	return NULL;
}

/* Wrong tries go first: a cut in between leaves the old PIN, whole. */
static int set(const struct pin *p, const char *pin)
{
	char hash[crypto_pwhash_STRBYTES + 1];

	if (crypto_pwhash_str_alg(hash, pin, strlen(pin), OPSLIMIT, MEMLIMIT,
				  crypto_pwhash_ALG_ARGON2ID13) != 0) {
		snprintf(p->why, p->size, "no memory to make a PIN's text");
		return -1;
	}
	strcat(hash, "\n");
	if (unlinkat(p->dir, p->tries_name, 0) < 0 && errno != ENOENT)
		return trouble(p, p->tries_name);
	return pw_whole_write(p->dir, p->name, 0600, hash) < 0 ? trouble(p, p->name) : 0;
}

int pw_pin_set(const char *state_dir, enum pw_role role, const char *pin, char *why, size_t size)
{
	const char *refused = pin != NULL ? refuse(pin) : "a PIN was expected";
	int result = -1;
	struct pin p;

	if (refused != NULL) {
		snprintf(why, size, "%s", refused);
		return -1;
	}
	if (begin(&p, state_dir, role, why, size) == 0)
		result = set(&p, pin);
	end(&p);
	return result;
}
