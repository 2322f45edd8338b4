/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What is kept between calls: DIR/fleet.jsonl, a line for each thing that came to be, added at its
 * end. A line that was cut off is no line. Keys, journals and all else follow from the seed.
 */
#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "fleet_send_internal.h"
#include "tool_internal.h"

#define VERSION "postwalk-fleet-v1"
#define LINE_CHARS 4096

__attribute__((format(printf, 3, 4)))
static int bad(char *why, size_t size, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	vsnprintf(why, size, format, args);
	va_end(args);
	return -2;
}

int pw_fleet_state_room(struct pw_fleet_state *s)
{
	if (!s->bus)
		s->bus = calloc(s->fleet.buses, sizeof(*s->bus));
	return s->bus ? 0 : -2;
}

/* -- lines read -------------------------------------------------------------------------------- */

static int read_begin(struct pw_fleet_state *s, const json_t *line)
{
	const char *version, *from, *zone;
	json_int_t seed, buses;

	if (s->begun
	    || json_unpack((json_t *)(uintptr_t)line, "{s:s,s:I,s:s,s:s,s:I!}", "fleet", &version,
			   "seed", &seed, "from", &from, "zone", &zone, "buses", &buses)
	    || strcmp(version, VERSION) != 0 || pw_date_read(from, &s->fleet.from)
	    || strlen(zone) >= sizeof(s->zone) || buses < 1 || buses > 1000000)
		return -2;
	s->begun = true;
	s->fleet.seed = (uint64_t)seed;
	s->fleet.buses = (unsigned)buses;
	strcpy(s->zone, zone);
	return pw_fleet_state_room(s);
}

static int read_days(struct pw_fleet_state *s, const json_t *line)
{
	json_int_t days;

	if (json_unpack((json_t *)(uintptr_t)line, "{s:I!}", "days", &days) || days < 1
	    || days > 100000)
		return -2;
	s->fleet.days = s->before = (unsigned)days;
	return 0;
}

static struct pw_enrolled *find_bus(struct pw_fleet_state *s, const json_t *line)
{
	const json_t *index = json_object_get(line, "bus");
	json_int_t i = json_integer_value(index);

	if (!json_is_integer(index) || i < 1 || i > (json_int_t)s->fleet.buses)
		return NULL;
	return &s->bus[i - 1];
}

static int read_token(struct pw_fleet_state *s, const json_t *line)
{
	struct pw_enrolled *e = find_bus(s, line);
	const char *token = json_string_value(json_object_get(line, "token"));
	const char *key = json_string_value(json_object_get(line, "office"));
	char why[200];

	if (!e || !token || !key || strlen(token) != PW_TOKEN_MAX - 1
	    || pw_public_key_read(key, &e->office, why, sizeof(why)))
		return -2;
	strcpy(e->token, token);
	return 0;
}

static int add_got(struct pw_enrolled *e, const struct pw_got *got)
{
	if (e->count == e->room) {
		size_t room = e->room ? e->room * 2 : 4;
		struct pw_got *more = reallocarray(e->got, room, sizeof(*more));

		if (!more)
			return -2;
		e->got = more;
		e->room = room;
	}
	e->got[e->count++] = *got;
	return 0;
}

static int read_got(struct pw_fleet_state *s, const json_t *line)
{
	struct pw_enrolled *e = find_bus(s, line);
	const char *hash, *nonce, *sig;
	int alert;
	json_int_t day, history, seq, time_ms;
	struct pw_got got;

	if (!e
	    || json_unpack(json_object_get(line, "receipt"), "{s:I,s:I,s:b,s:I,s:s,s:I,s:s,s:s!}",
			   "day", &day, "history", &history, "alert", &alert, "seq", &seq, "hash",
			   &hash, "time_ms", &time_ms, "nonce", &nonce, "sig", &sig)
	    || history < 0 || history >= PW_HISTORIES || strlen(hash) != 64 || strlen(nonce) != 32
	    || strlen(sig) != 128)
		return -2;
	got = (struct pw_got){ .day = (unsigned)day, .history = (enum pw_history_kind)history,
			       .alert = alert, .seq = (uint64_t)seq, .time_ms = time_ms };
	strcpy(got.hash, hash);
	strcpy(got.nonce, nonce);
	strcpy(got.sig, sig);
	return add_got(e, &got);
}

static int read_line(struct pw_fleet_state *s, const char *text)
{
	static const struct {
		const char *mark;
		int (*read)(struct pw_fleet_state *s, const json_t *line);
	} kinds[] = {
		{ "fleet", read_begin }, { "days", read_days }, { "token", read_token },
		{ "receipt", read_got },
	};
	json_t *line = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
	int result = -2;

	for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++)
		if (json_object_get(line, kinds[i].mark) && (s->begun || i == 0)) {
			result = kinds[i].read(s, line);
			break;
		}
	json_decref(line);
	return result;
}

/* -- the file ---------------------------------------------------------------------------------- */

static int read_all(struct pw_fleet_state *s, const char *path, char *why, size_t size)
{
	char line[LINE_CHARS];
	off_t whole = 0;
	unsigned number = 0;
	int copy = dup(s->fd), result = 0;
	FILE *f = copy >= 0 ? fdopen(copy, "r") : NULL;

	if (!f) {
		if (copy >= 0)
			close(copy);
		return bad(why, size, "%s: %s", path, strerror(errno));
	}
	while (result == 0 && fgets(line, sizeof(line), f) && strchr(line, '\n')) {
		number++;
		whole += (off_t)strlen(line);
		if (read_line(s, line))
			result = bad(why, size,
				     "%s:%u: expected a line as `postwalk fleet` writes it", path,
				     number);
	}
	if (result == 0 && ftruncate(s->fd, whole))
		result = bad(why, size, "%s: %s", path, strerror(errno));
	fclose(f);
	return result;
}

int pw_fleet_state_open(struct pw_fleet_state *s, const char *dir, char *why, size_t size)
{
	char path[300];

	*s = (struct pw_fleet_state){ .fd = -1 };
	pthread_mutex_init(&s->lock, NULL);
	if (!dir)
		return 0;
	if (snprintf(path, sizeof(path), "%s/fleet.jsonl", dir) >= (int)sizeof(path))
		return bad(why, size, "%.40s...: expected a shorter path", dir);
	if (mkdir(dir, 0700) && errno != EEXIST)
		return bad(why, size, "%s: %s", dir, strerror(errno));
	s->fd = open(path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
	if (s->fd < 0)
		return bad(why, size, "%s: %s", path, strerror(errno));
	if (flock(s->fd, LOCK_EX | LOCK_NB))
		return bad(why, size, "%s: another postwalk fleet is at work with it", path);
	return read_all(s, path, why, size);
}

void pw_fleet_state_close(struct pw_fleet_state *s)
{
	for (unsigned i = 0; s->bus && i < s->fleet.buses; i++)
		free(s->bus[i].got);
	free(s->bus);
	if (s->fd >= 0) {
		fsync(s->fd);
		close(s->fd);
	}
	pthread_mutex_destroy(&s->lock);
}

/* -- lines written ----------------------------------------------------------------------------- */

/* A line that did not fit the disk is taken back: others may come behind it. */
static int append(const struct pw_fleet_state *s, const char *text, size_t length)
{
	const off_t before = lseek(s->fd, 0, SEEK_END);
	int error;

	if (write(s->fd, text, length) == (ssize_t)length)
		return 0;
	error = errno;
	if (before >= 0 && ftruncate(s->fd, before))
		error = errno;
	errno = error;
	return -1;
}

/* Takes line. */
static int put(struct pw_fleet_state *s, json_t *line, char *why, size_t size)
{
	char *text = line ? json_dumps(line, JSON_COMPACT) : NULL, whole[LINE_CHARS];
	int n = text ? snprintf(whole, sizeof(whole), "%s\n", text) : -1;

	free(text);
	json_decref(line);
	if (n < 0 || n >= (int)sizeof(whole))
		return bad(why, size, "no memory");
	if (s->fd >= 0 && append(s, whole, (size_t)n))
		return bad(why, size, "what came to be cannot be kept: %s", strerror(errno));
	return 0;
}

int pw_fleet_state_begin(struct pw_fleet_state *s, char *why, size_t size)
{
	char from[16];

	if (!s->begun) {
		pw_date_print(s->fleet.from, from);
		if (put(s,
			json_pack("{s:s,s:I,s:s,s:s,s:I}", "fleet", VERSION, "seed",
				  (json_int_t)s->fleet.seed, "from", from, "zone", s->zone, "buses",
				  (json_int_t)s->fleet.buses),
			why, size))
			return -2;
	}
	if (s->fleet.days == s->before)
		return 0;
	return put(s, json_pack("{s:I}", "days", (json_int_t)s->fleet.days), why, size);
}

int pw_fleet_state_token(struct pw_fleet_state *s, unsigned index, const struct pw_place *p,
			 char *why, size_t size)
{
	char pem[PW_PEM_MAX];
	int result;

	pw_public_key_pem(&p->key, pem);
	pthread_mutex_lock(&s->lock);
	memcpy(s->bus[index].token, p->token, sizeof(p->token));
	s->bus[index].office = p->key;
	result = put(s,
		     json_pack("{s:I,s:s,s:s}", "bus", (json_int_t)index + 1, "token", p->token,
			       "office", pem),
		     why, size);
	pthread_mutex_unlock(&s->lock);
	return result;
}

int pw_fleet_state_got(struct pw_fleet_state *s, unsigned index, const struct pw_got *got,
		       char *why, size_t size)
{
	int result;

	pthread_mutex_lock(&s->lock);
	result = put(s,
		     json_pack("{s:I,s:{s:I,s:I,s:b,s:I,s:s,s:I,s:s,s:s}}", "bus",
			       (json_int_t)index + 1, "receipt", "day", (json_int_t)got->day,
			       "history", (json_int_t)got->history, "alert", got->alert, "seq",
			       (json_int_t)got->seq, "hash", got->hash, "time_ms",
			       (json_int_t)got->time_ms, "nonce", got->nonce, "sig", got->sig),
		     why, size);
	if (result == 0 && add_got(&s->bus[index], got))
		result = bad(why, size, "no memory");
	pthread_mutex_unlock(&s->lock);
	return result;
}

/* -- codes ------------------------------------------------------------------------------------- */

/* The bus's number from its name; 0: it is none of these. */
static unsigned number_of(const struct pw_fleet_state *s, const char *bus)
{
	char again[PW_NAME_MAX];
	unsigned number = 0;

	if (sscanf(bus, "T-%u", &number) != 1 || number < 1 || number > s->fleet.buses)
		return 0;
	pw_fleet_bus_name(number - 1, again);
	return strcmp(bus, again) == 0 ? number : 0;
}

static int take_code(struct pw_fleet_state *s, char *line)
{
	char bus[64], code[64];
	unsigned number;

	line += strspn(line, " \t\r");
	if (*line == '\0' || *line == '#')
		return 0;
	if (sscanf(line, "%63s %63s", bus, code) != 2)
		return -2;
	number = number_of(s, bus);
	if (number > 0)
		strcpy(s->bus[number - 1].code, code);
	return 0;
}

int pw_fleet_codes_read(struct pw_fleet_state *s, const char *path, char *why, size_t size)
{
	struct pw_text_file *f = pw_text_file_open(path, "a file of codes", 1000);
	size_t length;
	char *line;
	int got = f ? 1 : -1;

	while (got == 1 && (got = pw_text_file_next(f, &line, &length)) == 1)
		if (take_code(s, line)) {
			bad(why, size,
			    "%s:%ld: expected BUS CODE, as `postwalk-office enrol BUS` prints them",
			    path, pw_text_file_number(f));
			break;
		}
	if (got < 0)
		why[0] = '\0'; /* said already */
	if (f)
		pw_text_file_close(f);
	return got == 0 ? 0 : -2;
}
