/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Three socket pairs tie QEMU to the test before it starts: lines (qtest), console, and control
 * (QMP). All reading goes through pump(), which sorts what came into three growing texts.
 */
#include "guest.h"

#include <errno.h>
#include <jansson.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum channel { LINES, CONSOLE, CONTROL, CHANNELS };

enum { ANSWER_MS = 20000, BOOT_MS = 60000 };

/* What a channel said; `seen` bytes of it have been dealt with. */
struct text {
	char *bytes;
	size_t length;
	size_t seen;
};

struct pw_guest {
	pid_t pid;
	int fds[CHANNELS];
	struct text said[CHANNELS];
	char chip[64]; /* the GPIO chip's path in QEMU's object tree */
	unsigned int levels[PW_GUEST_LINES];
	struct pw_guest_edge *edges;
	size_t n_edges;
	size_t answers; /* qtest answers not yet taken */
	unsigned int commands;
};

static long long now_ms(void)
{
	struct timespec now;

	clock_gettime(CLOCK_MONOTONIC, &now);
	return now.tv_sec * 1000LL + now.tv_nsec / 1000000;
}

static void *grown(void *memory, size_t size)
{
	void *more = realloc(memory, size);

	if (!more) {
		perror("guest");
		abort();
	}
	return more;
}

static void text_add(struct text *text, const char *bytes, size_t length)
{
	text->bytes = grown(text->bytes, text->length + length + 1);
	memcpy(text->bytes + text->length, bytes, length);
	text->length += length;
	text->bytes[text->length] = '\0';
}

/* Where the next whole line begins, or NULL; what follows the line follows it here too. */
static const char *text_line(struct text *text)
{
	const char *line = text->bytes + text->seen;
	const char *end = text->bytes ? strchr(line, '\n') : NULL;

	if (!end)
		return NULL;
	text->seen = (size_t)(end - text->bytes) + 1;
	return line;
}

static void edge_add(struct pw_guest *guest, unsigned int line, unsigned int level)
{
	struct pw_guest_edge edge = { .at_ms = now_ms(), .line = line, .level = level };

	guest->edges = grown(guest->edges, (guest->n_edges + 1) * sizeof(edge));
	guest->edges[guest->n_edges++] = edge;
	guest->levels[line] = level;
}

static int take_line_message(struct pw_guest *guest, const char *message)
{
	unsigned int line;

	if (sscanf(message, "IRQ raise %u", &line) == 1 && line < PW_GUEST_LINES) {
		edge_add(guest, line, 1);
	} else if (sscanf(message, "IRQ lower %u", &line) == 1 && line < PW_GUEST_LINES) {
		edge_add(guest, line, 0);
	} else if (strncmp(message, "OK", 2) == 0) {
		guest->answers++;
	} else {
		fprintf(stderr, "guest: qtest said: %.80s\n", message);
		return -EPROTO;
	}
	return 0;
}

static int read_channel(struct pw_guest *guest, enum channel channel)
{
	char bytes[4096];
	ssize_t length = read(guest->fds[channel], bytes, sizeof(bytes));

	if (length < 0)
		return errno == EINTR ? 0 : -errno;
	if (length == 0)
		return -EPIPE;
	text_add(&guest->said[channel], bytes, (size_t)length);
	return 0;
}

/* Reads what there is, waiting for it until the deadline. */
static int pump(struct pw_guest *guest, long long deadline_ms)
{
	struct pollfd polled[CHANNELS];
	long long left_ms = deadline_ms - now_ms();
	const char *message;
	int status;

	if (left_ms < 0)
		return -ETIMEDOUT;
	for (int i = 0; i < CHANNELS; i++)
		polled[i] = (struct pollfd){ .fd = guest->fds[i], .events = POLLIN };
	status = poll(polled, CHANNELS, (int)left_ms);
	if (status < 0)
		return errno == EINTR ? 0 : -errno;
	if (status == 0)
		return -ETIMEDOUT;
	status = 0;
	for (int i = 0; i < CHANNELS && status == 0; i++)
		if (polled[i].revents)
			status = read_channel(guest, (enum channel)i);
	while (status == 0 && (message = text_line(&guest->said[LINES])))
		status = take_line_message(guest, message);
	return status;
}

static int send_text(struct pw_guest *guest, enum channel channel, const char *format, ...)
	__attribute__((format(printf, 3, 4)));

static int send_text(struct pw_guest *guest, enum channel channel, const char *format, ...)
{
	char bytes[2048];
	va_list arguments;
	int length;

	va_start(arguments, format);
	length = vsnprintf(bytes, sizeof(bytes), format, arguments);
	va_end(arguments);
	if (length < 0 || (size_t)length >= sizeof(bytes))
		return -EMSGSIZE;
	if (send(guest->fds[channel], bytes, (size_t)length, MSG_NOSIGNAL) != length)
		return -EPIPE;
	return 0;
}

/* Waits for qtest's OK to what was just sent. */
static int await_answer(struct pw_guest *guest)
{
	long long deadline_ms = now_ms() + ANSWER_MS;
	int status = 0;

	while (status == 0 && guest->answers == 0)
		status = pump(guest, deadline_ms);
	if (status == 0)
		guest->answers--;
	return status;
}

/* Takes the PL061's name from QMP's answer to qom-list; other answers have none. */
static void find_chip(struct pw_guest *guest, const char *answer)
{
	json_t *root = json_loads(answer, JSON_DISABLE_EOF_CHECK, NULL);
	json_t *entry;
	size_t i;

	json_array_foreach(json_object_get(root, "return"), i, entry) {
		const char *type = json_string_value(json_object_get(entry, "type"));
		const char *name = json_string_value(json_object_get(entry, "name"));

		if (type && name && strcmp(type, "child<pl061>") == 0)
			snprintf(guest->chip, sizeof(guest->chip),
				 "/machine/unattached/%s", name);
	}
	json_decref(root);
}

/* QMP greets first, then answers the two requests, one line each. */
static int ask_for_chip(struct pw_guest *guest)
{
	long long deadline_ms = now_ms() + ANSWER_MS;
	int status = send_text(guest, CONTROL,
			       "{\"execute\":\"qmp_capabilities\"}\n"
			       "{\"execute\":\"qom-list\",\"arguments\":"
			       "{\"path\":\"/machine/unattached\"}}\n");

	while (status == 0 && guest->chip[0] == '\0') {
		const char *answer = text_line(&guest->said[CONTROL]);

		if (answer)
			find_chip(guest, answer);
		else
			status = pump(guest, deadline_ms);
	}
	return status;
}

static int take_over_lines(struct pw_guest *guest)
{
	int status = ask_for_chip(guest);

	if (status == 0)
		status = send_text(guest, LINES, "irq_intercept_out %s\n", guest->chip);
	if (status == 0)
		status = await_answer(guest);
	for (unsigned int line = 0; line < PW_GUEST_LINES && status == 0; line++)
		status = pw_guest_pull(guest, line, 0);
	return status;
}

/* Waits for a text on the console; what comes after it is dealt with next. */
static int await_text(struct pw_guest *guest, const char *wanted, long long deadline_ms)
{
	struct text *said = &guest->said[CONSOLE];
	char *found = NULL;
	int status = 0;

	while (status == 0) {
		found = said->bytes ? strstr(said->bytes + said->seen, wanted) : NULL;
		if (found)
			break;
		status = pump(guest, deadline_ms);
	}
	if (status == 0)
		said->seen = (size_t)(found - said->bytes) + strlen(wanted);
	return status;
}

/* Texts of the disk's arguments, which live as long as the list of those. */
struct disk_texts {
	char image[600], log[600];
};

/* How many arguments were added. */
static size_t name_disk(const struct pw_guest_options *options, struct disk_texts *texts,
			const char **arguments)
{
	snprintf(texts->image, sizeof(texts->image),
		 "if=none,id=disk,format=raw,cache=writethrough,file=%s", options->disk);
	arguments[0] = "-drive";
	arguments[1] = texts->image;
	arguments[2] = "-device";
	arguments[3] = "virtio-blk-device,drive=disk";
	return 4;
}

/* Zeroes are written as any data: QEMU 7.2 may log a request to write zeroes in two places. */
static size_t name_logged_disk(const struct pw_guest_options *options, struct disk_texts *texts,
			       const char **arguments)
{
	snprintf(texts->image, sizeof(texts->image),
		 "driver=raw,node-name=image,file.driver=file,file.filename=%s", options->disk);
	snprintf(texts->log, sizeof(texts->log), "driver=blklogwrites,node-name=disk,file=image,"
		 "log.driver=file,log.filename=%s,log-sector-size=512", options->disk_log);
	arguments[0] = "-blockdev";
	arguments[1] = texts->image;
	arguments[2] = "-blockdev";
	arguments[3] = texts->log;
	arguments[4] = "-device";
	arguments[5] = "virtio-blk-device,drive=disk,write-cache=on,write-zeroes=off,discard=off";
	return 6;
}

/* In the child: becomes QEMU, and dies with the parent. */
static void become_qemu(const struct pw_guest_options *options, const int fds[CHANNELS],
			pid_t parent)
{
	static const char *const names[CHANNELS] = { "lines", "console", "control" };
	char chardevs[CHANNELS][64], rtc[64];
	struct disk_texts disk;
	const char *arguments[48] = { NULL };
	size_t n = 0;
	const char *fixed[] = {
		"qemu-system-aarch64", "-M", "virt", "-cpu", "cortex-a53", "-accel", "tcg",
		"-m", "256", "-nodefaults", "-display", "none", "-no-reboot",
		"-append", "console=ttyAMA0 quiet loglevel=1 panic=-1",
		"-object", "qtest,id=qtest,chardev=lines,log=/dev/null",
		"-serial", "chardev:console", "-mon", "chardev=control,mode=control",
		"-kernel", options->kernel, "-initrd", options->initrd,
	};

	for (size_t i = 0; i < sizeof(fixed) / sizeof(fixed[0]); i++)
		arguments[n++] = fixed[i];
	for (int i = 0; i < CHANNELS; i++) {
		snprintf(chardevs[i], sizeof(chardevs[i]), "socket,id=%s,fd=%d", names[i], fds[i]);
		arguments[n++] = "-chardev";
		arguments[n++] = chardevs[i];
	}
	snprintf(rtc, sizeof(rtc), "base=%s", options->rtc ? options->rtc : "utc");
	arguments[n++] = "-rtc";
	arguments[n++] = rtc;
	if (options->disk && options->disk_log)
		n += name_logged_disk(options, &disk, arguments + n);
	else if (options->disk)
		n += name_disk(options, &disk, arguments + n);
	prctl(PR_SET_PDEATHSIG, SIGKILL);
	if (getppid() == parent)
		execvp(arguments[0], (char *const *)arguments);
	fprintf(stderr, "guest: cannot run %s: %s\n", arguments[0], strerror(errno));
	_exit(127);
}

static int spawn(struct pw_guest *guest, const struct pw_guest_options *options)
{
	int theirs[CHANNELS], pair[2];
	pid_t parent = getpid();

	for (int i = 0; i < CHANNELS; i++) {
		if (socketpair(AF_UNIX, SOCK_STREAM, 0, pair) < 0)
			return -errno; /* a test ends here; its process's end closes the rest */
		guest->fds[i] = pair[0];
		theirs[i] = pair[1];
	}
	guest->pid = fork();
	if (guest->pid < 0)
		return -errno;
	if (guest->pid == 0) {
		for (int i = 0; i < CHANNELS; i++)
			close(guest->fds[i]);
		become_qemu(options, theirs, parent);
	}
	for (int i = 0; i < CHANNELS; i++)
		close(theirs[i]);
	return 0;
}

int pw_guest_start(struct pw_guest **out, const struct pw_guest_options *options)
{
	struct pw_guest *guest = grown(NULL, sizeof(*guest));
	int status;

	memset(guest, 0, sizeof(*guest));
	guest->pid = -1;
	for (int i = 0; i < CHANNELS; i++)
		guest->fds[i] = -1;
	status = spawn(guest, options);
	if (status == 0)
		status = take_over_lines(guest);
	if (status == 0)
		status = await_text(guest, "board: ready\n", now_ms() + BOOT_MS);
	if (status < 0) {
		fprintf(stderr, "guest: did not start: %s\n%s\n", strerror(-status),
			pw_guest_console(guest));
		pw_guest_cut(guest);
		guest = NULL;
	}
	*out = guest;
	return status;
}

int pw_guest_pull(struct pw_guest *guest, unsigned int line, unsigned int level)
{
	int status = send_text(guest, LINES, "set_irq_in %s unnamed-gpio-in %u %u\n",
			       guest->chip, line, level);

	return status < 0 ? status : await_answer(guest);
}

unsigned int pw_guest_level(const struct pw_guest *guest, unsigned int line)
{
	return guest->levels[line];
}

int pw_guest_await(struct pw_guest *guest, unsigned int line, unsigned int level, int timeout_ms)
{
	long long deadline_ms = now_ms() + timeout_ms;
	int status = 0;

	while (status == 0 && guest->levels[line] != level)
		status = pump(guest, deadline_ms);
	return status;
}

size_t pw_guest_edges(const struct pw_guest *guest, const struct pw_guest_edge **edges)
{
	*edges = guest->edges;
	return guest->n_edges;
}

int pw_guest_listen(struct pw_guest *guest, int timeout_ms)
{
	long long deadline_ms = now_ms() + timeout_ms;
	int status = 0;

	while (status == 0)
		status = pump(guest, deadline_ms);
	return status == -ETIMEDOUT ? 0 : status;
}

int pw_guest_run(struct pw_guest *guest, const char *command, int timeout_ms,
		 char *output, size_t size)
{
	long long deadline_ms = now_ms() + timeout_ms;
	struct text *said = &guest->said[CONSOLE];
	size_t begin = said->seen;
	char mark[32];
	const char *line;
	int status;

	snprintf(mark, sizeof(mark), "#ended-%u:", ++guest->commands);
	status = send_text(guest, CONSOLE, "%s\necho \"%s$?\"\n", command, mark);
	if (status == 0)
		status = await_text(guest, mark, deadline_ms);
	if (status == 0 && size > 0)
		snprintf(output, size, "%.*s",
			 (int)(said->seen - strlen(mark) - begin), said->bytes + begin);
	while (status == 0) {
		line = text_line(said);
		if (line)
			return atoi(line);
		status = pump(guest, deadline_ms);
	}
	return status;
}

int pw_guest_hear(struct pw_guest *guest, size_t *from, const char *text, int timeout_ms)
{
	long long deadline_ms = now_ms() + timeout_ms;
	const char *found;
	int status = 0;

	while (status == 0) {
		found = strstr(pw_guest_console(guest) + *from, text);
		if (found) {
			*from = (size_t)(found - pw_guest_console(guest)) + strlen(text);
			return 0;
		}
		status = pump(guest, deadline_ms);
	}
	return status;
}

const char *pw_guest_console(const struct pw_guest *guest)
{
	return guest->said[CONSOLE].bytes ? guest->said[CONSOLE].bytes : "";
}

void pw_guest_cut(struct pw_guest *guest)
{
	if (!guest)
		return;
	if (guest->pid > 0) {
		kill(guest->pid, SIGKILL);
		waitpid(guest->pid, NULL, 0);
	}
	for (int i = 0; i < CHANNELS; i++) {
		if (guest->fds[i] >= 0)
			close(guest->fds[i]);
		free(guest->said[i].bytes);
	}
	free(guest->edges);
	free(guest);
}
