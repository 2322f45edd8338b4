/* SPDX-License-Identifier: Apache-2.0 */
#include "bus.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* Generous: a slow host must not fail a test; nothing waits this long when all is well. */
enum { WAIT_MS = 20000, PAUSE_MS = 20, PORT = 8787 };

const char *const wire_names[WIRES] = {
	"ignition", "rear_button", "rear_button_nc", "rear_door", "service_door",
	"beeper", "horn", "lamp",
};

/* -- the host's side ---------------------------------------------------------------------- */

static const char *board(void)
{
	return getenv("BOARD") ? getenv("BOARD") : "build/board";
}

static const char *postwalk(void)
{
	return getenv("POSTWALK") ? getenv("POSTWALK") : "build/postwalk";
}

static long long now_ms(void)
{
	struct timespec now;

	clock_gettime(CLOCK_MONOTONIC, &now);
	return now.tv_sec * 1000LL + now.tv_nsec / 1000000;
}

void bus_shell(const char *format, ...)
{
	char command[4096];
	va_list arguments;

	va_start(arguments, format);
	vsnprintf(command, sizeof(command), format, arguments);
	va_end(arguments);
	if (system(command) != 0)
		fail_msg("failed: %s", command);
}

void bus_build(struct bus *bus, const char *name)
{
	*bus = (struct bus){ 0 };
	snprintf(bus->disk, sizeof(bus->disk), "%.400s/%s.ext4", board(), name);
	snprintf(bus->state, sizeof(bus->state), "%.400s/%s.state", board(), name);
	snprintf(bus->console, sizeof(bus->console), "%.400s/%s.console", board(), name);
	unlink(bus->console);
	bus_shell("cp '%s/state.ext4' '%s'", board(), bus->disk);
}

void bus_scrap(struct bus *bus)
{
	bus_cut(bus);
	unlink(bus->disk);
}

/* What the console said stays beside the disk, for whoever looks into a failure. */
void bus_cut(struct bus *bus)
{
	FILE *file = bus->guest ? fopen(bus->console, "a") : NULL;

	if (file) {
		fputs(pw_guest_console(bus->guest), file);
		fclose(file);
	}
	pw_guest_cut(bus->guest);
	bus->guest = NULL;
}

/* The file system's own journal is worked off first, as a mount would. */
static void unpack(const struct bus *bus)
{
	const char *state = bus->state;

	bus_shell("rm -rf '%s' && mkdir '%s' && cp '%s' '%s/disk'", state, state, bus->disk, state);
	bus_shell("/sbin/e2fsck -fy '%s/disk' >'%s/e2fsck' 2>&1; [ $? -le 1 ]", state, state);
	bus_shell("/sbin/debugfs -R 'rdump / %s' '%s/disk' 2>'%s/debugfs'", state, state, state);
}

json_t *bus_journal(struct bus *bus)
{
	json_t *records = json_array();
	char path[600], line[8192];
	FILE *file;

	unpack(bus);
	bus_shell("postwalk=$(realpath '%s') && cd '%s' && "
	      "$postwalk trace --policy journal.db >policy && "
	      "$postwalk trace journal.db >trace && "
	      "$postwalk trace --records journal.db >records && "
	      "$postwalk replay --config policy trace | grep -v '\"standing\"' >replayed; "
	      "cmp records replayed",
	      postwalk(), bus->state);
	snprintf(path, sizeof(path), "%s/records", bus->state);
	file = fopen(path, "r");
	assert_non_null(file);
	while (fgets(line, sizeof(line), file))
		json_array_append_new(records, json_loads(line, 0, NULL));
	fclose(file);
	return records;
}

size_t bus_traced(const struct bus *bus, const char *words)
{
	char path[600], line[256];
	size_t count = 0;
	FILE *file;

	snprintf(path, sizeof(path), "%s/trace", bus->state);
	file = fopen(path, "r");
	assert_non_null(file);
	while (fgets(line, sizeof(line), file))
		count += strstr(line, words) != NULL;
	fclose(file);
	return count;
}

/* -- power, wires, words ------------------------------------------------------------------ */

void bus_power_on(struct bus *bus, const char *rtc, unsigned int ignition)
{
	char kernel[512], initrd[512];
	struct pw_guest_options options = {
		.kernel = kernel, .initrd = initrd, .disk = bus->disk, .rtc = rtc,
		.disk_log = bus->disk_log[0] ? bus->disk_log : NULL,
	};

	snprintf(kernel, sizeof(kernel), "%s/vmlinuz", board());
	snprintf(initrd, sizeof(initrd), "%s/initrd.gz", board());
	assert_int_equal(pw_guest_start(&bus->guest, &options), 0);
	bus->heard = 0;
	bus_pull(bus, REAR_BUTTON_NC, 1);
	bus_pull(bus, IGNITION, ignition);
	bus_run(bus, "postwalkd --config /etc/postwalk.conf --state /state & watch=$!", NULL, 0);
	bus_hear(bus, "bus board-1 is watched");
}

void bus_run(struct bus *bus, const char *command, char *output, size_t size)
{
	assert_int_equal(pw_guest_run(bus->guest, command, WAIT_MS, output, size), 0);
}

void bus_pull(struct bus *bus, enum wire wire, unsigned int level)
{
	assert_int_equal(pw_guest_pull(bus->guest, wire, level), 0);
}

void bus_await(struct bus *bus, enum wire wire, unsigned int level)
{
	if (pw_guest_await(bus->guest, wire, level, WAIT_MS) < 0)
		fail_msg("%s did not become %u; see %s", wire_names[wire], level, bus->console);
}

/* The head of its lines tells them from what the page says. */
void bus_hear(struct bus *bus, const char *words)
{
	char line[80];

	snprintf(line, sizeof(line), "postwalkd: %s", words);
	if (pw_guest_hear(bus->guest, &bus->heard, line, WAIT_MS) < 0)
		fail_msg("\"%s\" was not heard; see %s", words, bus->console);
}

size_t bus_count(const struct bus *bus, size_t from, const char *words)
{
	const char *at = pw_guest_console(bus->guest) + from;
	size_t count = 0;
	char line[80];

	snprintf(line, sizeof(line), "postwalkd: %s", words);
	while ((at = strstr(at, line)) != NULL) {
		at += strlen(line);
		count++;
	}
	return count;
}

size_t bus_edges(const struct bus *bus)
{
	const struct pw_guest_edge *edges;

	return pw_guest_edges(bus->guest, &edges);
}

size_t bus_spells(const struct bus *bus, enum wire wire, size_t first_edge, struct spell *spells,
		  size_t max)
{
	const struct pw_guest_edge *edges, *last = NULL;
	size_t n = pw_guest_edges(bus->guest, &edges), count = 0;

	for (size_t i = first_edge; i < n && count < max; i++) {
		if (edges[i].line != wire)
			continue;
		if (last)
			spells[count++] = (struct spell){ last->level, edges[i].at_ms - last->at_ms };
		last = &edges[i];
	}
	return count;
}

/* -- the page ----------------------------------------------------------------------------- */

/* What postwalkd said while the page was being typed out. */
static void cut_out_words(char *text)
{
	char *at, *end;

	while ((at = strstr(text, "postwalkd: ")) != NULL) {
		end = strchr(at, '\n');
		end = end ? end + 1 : at + strlen(at);
		memmove(at, end, strlen(end) + 1);
	}
}

json_t *bus_status(struct bus *bus, int port)
{
	char command[160], text[16384];
	json_t *status;
	json_error_t error;

	if (bus->ear)
		bus->ear->asking(bus->ear);
	snprintf(command, sizeof(command), "wget -qO /tmp/status http://127.0.0.1:%d/status.json && "
		 "cat /tmp/status", port);
	if (pw_guest_run(bus->guest, command, WAIT_MS, text, sizeof(text)) != 0)
		return NULL; /* the page is not up yet */
	cut_out_words(text);
	status = json_loads(text, 0, &error);
	if (!status)
		fail_msg("no JSON (%s): %s", error.text, text);
	if (bus->ear)
		bus->ear->told(bus->ear, status);
	return status;
}

json_t *bus_await_status(struct bus *bus, int port, bus_wanted *wanted, const void *what)
{
	long long deadline_ms = now_ms() + WAIT_MS;
	json_t *status = NULL;

	while (now_ms() < deadline_ms) {
		json_decref(status);
		status = bus_status(bus, port);
		if (status && wanted(status, what))
			return status;
		assert_int_equal(pw_guest_listen(bus->guest, PAUSE_MS), 0);
	}
	fail_msg("the status did not become as wanted: %s",
		 status ? json_dumps(status, 0) : "there was none");
	return NULL;
}

const json_t *bus_line(const json_t *status, const char *name)
{
	const json_t *line;
	size_t i;

	json_array_foreach(json_object_get(status, "lines"), i, line)
		if (strcmp(json_string_value(json_object_get(line, "name")), name) == 0)
			return line;
	return NULL;
}

int bus_has(const json_t *words, const char *word)
{
	const json_t *one;
	size_t i;

	json_array_foreach(words, i, one)
		if (strcmp(json_string_value(one), word) == 0)
			return 1;
	return 0;
}

int bus_has_fault(const json_t *status, const char *name, const char *words)
{
	const json_t *fault;
	size_t i;

	json_array_foreach(json_object_get(status, "faults"), i, fault)
		if (strcmp(json_string_value(json_object_get(fault, "name")), name) == 0)
			return strstr(json_string_value(json_object_get(fault, "words")),
				      words) != NULL;
	return 0;
}

/* -- the driver --------------------------------------------------------------------------- */

static int is_kept(const json_t *status, const void *what)
{
	const json_t *journal = json_object_get(status, "journal");

	(void)what;
	return json_integer_value(json_object_get(journal, "waiting")) == 0;
}

void bus_await_kept(struct bus *bus)
{
	json_decref(bus_await_status(bus, PORT, is_kept, NULL));
}

void bus_await_check(struct bus *bus)
{
	bus_await(bus, LAMP, 1);
	bus_await(bus, LAMP, 0);
}

void bus_key_on(struct bus *bus)
{
	bus_pull(bus, IGNITION, 1);
	bus_await_check(bus);
}

void bus_key_off(struct bus *bus)
{
	bus_pull(bus, IGNITION, 0);
	bus_hear(bus, "rung prompt");
}

/* A span of the open sweep has run out: 0, not null, which is no such span in this phase. */
static int is_over(const json_t *status, const void *span)
{
	const json_t *s = json_object_get(json_object_get(status, "sweep"), span);

	return json_is_number(s) && json_number_value(s) <= 0;
}

void bus_walk(struct bus *bus)
{
	json_decref(bus_await_status(bus, PORT, is_over, "press_counts_in_s"));
}

void bus_press(struct bus *bus, const char *answer)
{
	char words[64];

	snprintf(words, sizeof(words), "press %s", answer);
	bus_pull(bus, REAR_BUTTON_NC, 0);
	bus_pull(bus, REAR_BUTTON, 1);
	bus_hear(bus, words);
	bus_pull(bus, REAR_BUTTON, 0);
	bus_pull(bus, REAR_BUTTON_NC, 1);
}

void bus_leave(struct bus *bus, const char *verdict)
{
	char words[64];

	snprintf(words, sizeof(words), "sweep closed: %s", verdict);
	json_decref(bus_await_status(bus, PORT, is_over, "look_s"));
	bus_pull(bus, SERVICE_DOOR, 1);
	bus_hear(bus, words);
	bus_pull(bus, SERVICE_DOOR, 0);
}
