/* SPDX-License-Identifier: Apache-2.0 */
#include "cutfolder.h"

#include <arpa/inet.h>
#include <glob.h>
#include <inttypes.h>
#include <jansson.h>
#include <poll.h>
#include <sched.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "../../daemon/record/record_internal.h"

__attribute__((format(printf, 1, 2)))
static int shell(const char *format, ...)
{
	char command[4096];
	va_list arguments;
	int status;

	va_start(arguments, format);
	vsnprintf(command, sizeof(command), format, arguments);
	va_end(arguments);
	status = system(command);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}

/* The first flaw is the one that counts. */
__attribute__((format(printf, 2, 3)))
static void flaw(char words[400], const char *format, ...)
{
	va_list arguments;

	if (words[0] != '\0')
		return;
	va_start(arguments, format);
	vsnprintf(words, 400, format, arguments);
	va_end(arguments);
}

static const char *program(const char *variable, const char *otherwise)
{
	const char *path = getenv(variable);

	return path && path[0] ? path : otherwise;
}

/* -- taking it out ------------------------------------------------------------------------ */

/* The mounts of this process, of which nothing is left when it has ended. */
static int may_mount(const struct pw_cut_room *room, const char *sample)
{
	return unshare(CLONE_NEWNS) == 0 && mount(NULL, "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0
	       && shell("cp '%s' '%s' && mount -o loop '%s' '%s/mounted' 2>/dev/null && "
			"umount '%s/mounted'", sample, room->image, room->image, room->path,
			room->path) == 0;
}

/* In memory where there is such a place: every cut writes the whole image. */
int pw_cut_room_make(struct pw_cut_room *room, const char *sample)
{
	const char *base = getenv("TMPDIR") ? getenv("TMPDIR") : "/tmp";

	snprintf(room->path, sizeof(room->path), "%.200s/postwalk-cuts-XXXXXX",
		 access("/dev/shm", W_OK) == 0 ? "/dev/shm" : base);
	if (!mkdtemp(room->path))
		return -1;
	snprintf(room->image, sizeof(room->image), "%s/image", room->path);
	snprintf(room->folder, sizeof(room->folder), "%s/folder", room->path);
	if (shell("mkdir '%s/mounted'", room->path) != 0)
		return -1;
	room->mounts = may_mount(room, sample);
	return 0;
}

void pw_cut_room_scrap(struct pw_cut_room *room)
{
	shell("rm -rf '%s'", room->path);
}

int pw_cut_take(const struct pw_cut_room *room)
{
	const char *image = room->image, *folder = room->folder;

	if (shell("rm -rf '%s' && mkdir '%s'", folder, folder) != 0)
		return -1;
	if (!room->mounts)
		return shell("/sbin/e2fsck -p '%s' >/dev/null 2>&1; [ $? -le 1 ] && "
			     "/sbin/debugfs -R 'rdump / %s' '%s' 2>/dev/null", image, folder,
			     image) == 0 ? 0 : -1;
	return shell("cd '%s' && mount -o loop image mounted && { cp -r mounted/. folder; "
		     "copied=$?; umount mounted && exit $copied; }", room->path) == 0 ? 0 : -1;
}

int pw_cut_is_clean(const struct pw_cut_room *room)
{
	return shell("/sbin/e2fsck -fn '%s' >/dev/null 2>&1", room->image) == 0;
}

/* -- SQLite's own word -------------------------------------------------------------------- */

/* The first column of the first row, or why there is none. */
static void ask(sqlite3 *db, const char *sql, char answer[200])
{
	sqlite3_stmt *statement = NULL;

	if (sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK ||
	    sqlite3_step(statement) != SQLITE_ROW)
		snprintf(answer, 200, "%s", sqlite3_errmsg(db));
	else
		snprintf(answer, 200, "%s", (const char *)sqlite3_column_text(statement, 0));
	sqlite3_finalize(statement);
}

/* On a copy, as it may mend what the cut left open. 1: it is sound and has a table of records. */
static int ask_sqlite(const char *dir, char words[400])
{
	char path[600], answer[200];
	struct stat status;
	sqlite3 *db = NULL;
	int has_table = 0;

	snprintf(path, sizeof(path), "%s/journal.db", dir);
	if (stat(path, &status) < 0)
		return 0;
	if (shell("rm -rf '%s/copy' && mkdir '%s/copy' && cd '%s' && cp journal.db* copy", dir, dir,
		  dir) != 0)
		flaw(words, "the journal cannot be copied");
	snprintf(path, sizeof(path), "%s/copy/journal.db", dir);
	if (sqlite3_open(path, &db) != SQLITE_OK)
		flaw(words, "SQLite: %s", sqlite3_errmsg(db));
	ask(db, "PRAGMA integrity_check", answer);
	if (strcmp(answer, "ok") != 0)
		flaw(words, "integrity_check: %s", answer);
	ask(db, "SELECT count(*) FROM sqlite_master WHERE name = 'record'", answer);
	has_table = strcmp(answer, "1") == 0;
	sqlite3_close(db);
	shell("rm -rf '%s/copy'", dir);
	return words[0] == '\0' && has_table;
}

/* -- chain and seals ---------------------------------------------------------------------- */

struct judging {
	struct pw_journal *journal;
	const struct pw_cut_whole *whole;
	struct pw_cut_found *found;
	struct pw_check check;
};

static void take_flaw(void *context, const struct pw_found *found)
{
	struct judging *g = context;

	if (found->flaw != PW_FLAW_UNSEALED)
		flaw(g->found->flaw, "seq %" PRIu64 ": %s", found->seq, found->words);
}

static void judge_record(struct judging *g, const struct pw_record *record)
{
	pw_check_record(&g->check, record);
	if (!g->whole || record->seq > g->whole->seq)
		return;
	if (strcmp(record->hash, g->whole->hash[record->seq]) != 0)
		flaw(g->found->flaw, "seq %" PRIu64 " is not the record that the day had",
		     record->seq);
}

/* Seals of the records before that one, which come right behind theirs. */
static int judge_seals(struct judging *g, struct pw_seal *seal, uint64_t before, char why[300])
{
	int given = 1;

	while (seal->seq < before && given == 1) {
		if (seal->seq > 0)
			pw_check_seal(&g->check, seal);
		given = pw_journal_read_seal(g->journal, seal->seq + 1, seal, why, 300);
	}
	if (given == 0)
		seal->seq = UINT64_MAX;
	return given < 0 ? -1 : 0;
}

static void judge_all(struct judging *g)
{
	struct pw_seal seal = { .seq = 0 };
	struct pw_record record;
	char why[300] = "";
	int given = 0;

	while (judge_seals(g, &seal, g->check.seq + 1, why) == 0 &&
	       (given = pw_journal_read(g->journal, g->check.seq + 1, &record, why,
					sizeof(why))) == 1)
		judge_record(g, &record);
	if (why[0] != '\0')
		flaw(g->found->flaw, "%s", why);
	if (seal.seq != UINT64_MAX)
		flaw(g->found->flaw, "there is a seal of seq %" PRIu64 ", which is not there",
		     seal.seq);
	pw_check_end(&g->check);
	g->found->seq = g->check.seq;
	g->found->sealed = g->check.sealed;
}

/* Written after its record is committed: so it can be behind the journal, and never before it. */
static void judge_seal_files(const char *dir, const struct pw_cut_whole *whole,
			     const struct pw_public_key *key, struct pw_cut_found *found)
{
	struct pw_seal_file file[2];
	unsigned broken = 0;
	int count = pw_seal_files_read(dir, file, &broken);

	if (count < 0 || broken > 0)
		flaw(found->flaw, "%u of the seal files are not whole", broken);
	for (int i = 0; i < count; i++) {
		if (!pw_seal_holds(file[i].bus, file[i].epoch, &file[i].seal, key))
			flaw(found->flaw, "a seal file is not by the key of this bus");
		if (file[i].seal.seq > found->seq)
			flaw(found->flaw, "a seal file is of seq %" PRIu64 ", which is not there",
			     file[i].seal.seq);
		else if (whole && file[i].seal.seq <= whole->seq &&
			 strcmp(file[i].seal.hash, whole->hash[file[i].seal.seq]) != 0)
			flaw(found->flaw, "a seal file is not of the record that the day had");
	}
}

/* The front door's word on it. That nothing vouches for the tail is no flaw. */
static void judge_by_verify(const char *dir, struct pw_cut_found *found)
{
	char said[2000] = "";
	FILE *pipe;
	int status;

	snprintf(said, sizeof(said), "'%s' verify --key '%s/bus.pub' '%s' 2>&1",
		 program("POSTWALK", "build/postwalk"), dir, dir);
	pipe = popen(said, "r");
	if (pipe)
		said[fread(said, 1, sizeof(said) - 1, pipe)] = '\0';
	status = pipe ? pclose(pipe) : -1;
	if (WIFEXITED(status) && WEXITSTATUS(status) == 0 && found->sealed == found->seq)
		return;
	if (!WIFEXITED(status) || WEXITSTATUS(status) != 1 || found->sealed == found->seq ||
	    !strstr(said, ": not sound: 1 finding,") ||
	    !strstr(said, "nothing vouches for what stands from here on"))
		flaw(found->flaw, "verify (status %d): %s", status, said);
}

void pw_cut_judge(const char *dir, const struct pw_cut_whole *whole, struct pw_cut_found *found)
{
	struct judging g = { .whole = whole, .found = found };
	struct pw_public_key key;
	char path[600], why[300];

	*found = (struct pw_cut_found){ 0 };
	if (!ask_sqlite(dir, found->flaw))
		return;
	snprintf(path, sizeof(path), "%s/bus.pub", dir);
	if (pw_public_key_load(path, &key, why, sizeof(why)) != 0) {
		flaw(found->flaw, "%s", why);
		return;
	}
	snprintf(path, sizeof(path), "%s/journal.db", dir);
	if (pw_journal_open(path, NULL, false, &g.journal, why, sizeof(why)) != 0) {
		flaw(found->flaw, "%s", why);
		return;
	}
	pw_check_begin(&g.check, pw_journal_bus(g.journal), &key, take_flaw, &g);
	judge_all(&g);
	pw_journal_close(g.journal);
	judge_seal_files(dir, whole, &key, found);
	if (found->seq > 0)
		judge_by_verify(dir, found);
}

int pw_cut_whole_take(const char *dir, struct pw_cut_whole *whole)
{
	struct pw_journal *journal;
	struct pw_record record;
	char path[600], why[300];

	*whole = (struct pw_cut_whole){ 0 };
	snprintf(path, sizeof(path), "%s/journal.db", dir);
	if (pw_journal_open(path, NULL, false, &journal, why, sizeof(why)) != 0)
		return -1;
	while (pw_journal_read(journal, whole->seq + 1, &record, why, sizeof(why)) == 1) {
		whole->hash = realloc(whole->hash, (record.seq + 1) * sizeof(*whole->hash));
		if (!whole->hash)
			abort();
		whole->seq = record.seq;
		memcpy(whole->hash[record.seq], record.hash, sizeof(*whole->hash));
	}
	pw_journal_close(journal);
	return 0;
}

void pw_cut_whole_free(struct pw_cut_whole *whole)
{
	free(whole->hash);
}

/* -- going on ----------------------------------------------------------------------------- */

enum { WAIT_MS = 20000, PAUSE_MS = 20 };

struct daemon {
	pid_t pid;
	int words; /* its standard error */
	int port;
};

static long long now_ms(void)
{
	struct timespec now;

	clock_gettime(CLOCK_MONOTONIC, &now);
	return now.tv_sec * 1000LL + now.tv_nsec / 1000000;
}

static int free_port(void)
{
	struct sockaddr_in at = { .sin_family = AF_INET,
				  .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t length = sizeof(at);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	if (bind(fd, (struct sockaddr *)&at, sizeof(at)) < 0 ||
	    getsockname(fd, (struct sockaddr *)&at, &length) < 0)
		at.sin_port = 0;
	close(fd);
	return ntohs(at.sin_port);
}

/* In the child. Its page and its wires are where no other one's are. */
static _Noreturn void become_daemon(const char *dir, pid_t parent, int words)
{
	char config[600], wires[600];
	const char *arguments[] = { program("POSTWALKD", "build/postwalkd"), "--config", config,
				    "--state", dir, "--board", wires, NULL };

	snprintf(config, sizeof(config), "%s.policy", dir);
	snprintf(wires, sizeof(wires), "bench:%s.wires", dir);
	prctl(PR_SET_PDEATHSIG, SIGKILL);
	dup2(words, STDERR_FILENO);
	unsetenv("JOURNAL_STREAM");
	unsetenv("NOTIFY_SOCKET");
	unsetenv("WATCHDOG_USEC");
	if (getppid() == parent)
		execv(arguments[0], (char *const *)(uintptr_t)arguments);
	perror(arguments[0]);
	_exit(127);
}

static int start_daemon(struct daemon *d, const char *dir, const char *policy)
{
	pid_t parent = getpid();
	int pair[2];

	d->port = free_port();
	if (shell("cp '%s' '%s.policy' && printf '\\n[page]\\nlisten = 127.0.0.1:%d\\n' "
		  ">>'%s.policy'", policy, dir, d->port, dir) != 0 || pipe2(pair, O_CLOEXEC) < 0)
		return -1;
	d->pid = fork();
	if (d->pid == 0)
		become_daemon(dir, parent, pair[1]);
	close(pair[1]);
	d->words = pair[0];
	return d->pid < 0 ? -1 : 0;
}

/* Ends it in order, by force when it does not. Its wait status. */
static int end_daemon(struct daemon *d)
{
	struct pollfd ended = { .fd = (int)syscall(SYS_pidfd_open, d->pid, 0), .events = POLLIN };
	int status;

	kill(d->pid, SIGTERM);
	if (poll(&ended, 1, WAIT_MS) != 1)
		kill(d->pid, SIGKILL);
	close(ended.fd);
	waitpid(d->pid, &status, 0);
	close(d->words);
	return status;
}

/* Until it says that the bus is watched. What it said is in words. */
static int await_watch(const struct daemon *d, char *words, size_t size)
{
	long long deadline_ms = now_ms() + WAIT_MS;
	struct pollfd polled = { .fd = d->words, .events = POLLIN };
	size_t length = 0;
	ssize_t n = 1;

	words[0] = '\0';
	while (!strstr(words, " is watched") && n > 0 && length < size - 1 &&
	       poll(&polled, 1, (int)(deadline_ms - now_ms())) == 1) {
		n = read(d->words, words + length, size - 1 - length);
		length += n > 0 ? (size_t)n : 0;
		words[length] = '\0';
	}
	return strstr(words, " is watched") ? 0 : -1;
}

static json_t *ask_page(const struct daemon *d)
{
	char command[600];
	json_t *status;
	FILE *pipe;

	snprintf(command, sizeof(command),
		 "'%s' status --json --url http://127.0.0.1:%d 2>/dev/null",
		 program("POSTWALK", "build/postwalk"), d->port);
	pipe = popen(command, "r");
	status = pipe ? json_loadf(pipe, 0, NULL) : NULL;
	if (pipe)
		pclose(pipe);
	return status;
}

static int is_kept(const json_t *status)
{
	const json_t *journal = json_object_get(status, "journal");

	return json_integer_value(json_object_get(journal, "kept")) > 0 &&
	       json_integer_value(json_object_get(journal, "waiting")) == 0;
}

static const char *text_of(const json_t *object, const char *key)
{
	const char *text = json_string_value(json_object_get(object, key));

	return text ? text : "";
}

/* Between two questions it listens whether the daemon ends. */
static json_t *await_kept(const struct daemon *d, struct pw_cut_start *start)
{
	long long deadline_ms = now_ms() + WAIT_MS;
	struct pollfd ended = { .fd = d->words, .events = 0 };
	json_t *status = NULL;

	while (!is_kept(status) && now_ms() < deadline_ms && poll(&ended, 1, PAUSE_MS) == 0) {
		json_decref(status);
		status = ask_page(d);
		if (start->phase[0] == '\0')
			snprintf(start->phase, sizeof(start->phase), "%s",
				 text_of(status, "phase"));
	}
	return status;
}

static void judge_start(const struct daemon *d, const char *dir, struct pw_cut_start *start)
{
	json_t *status = await_kept(d, start), *fault;
	char pattern[600];
	glob_t aside;
	size_t i;

	if (!is_kept(status))
		flaw(start->flaw, "what the start had to record was not kept");
	json_array_foreach(json_object_get(status, "faults"), i, fault)
		if (strcmp(text_of(fault, "name"), "journal") == 0)
			flaw(start->flaw, "fault journal: %s", text_of(fault, "words"));
	snprintf(pattern, sizeof(pattern), "%s/*.damaged-*", dir);
	if (glob(pattern, 0, NULL, &aside) == 0) {
		flaw(start->flaw, "it was put aside: %s", aside.gl_pathv[0]);
		globfree(&aside);
	}
	json_decref(status);
}

void pw_cut_go_on(const char *dir, const char *policy, struct pw_cut_start *start)
{
	struct daemon d;
	char words[300];
	int status;

	*start = (struct pw_cut_start){ 0 };
	if (start_daemon(&d, dir, policy) < 0) {
		flaw(start->flaw, "the daemon cannot be started");
		return;
	}
	if (await_watch(&d, words, sizeof(words)) < 0)
		flaw(start->flaw, "the daemon said: %s", words);
	else
		judge_start(&d, dir, start);
	status = end_daemon(&d);
	if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
		flaw(start->flaw, "the daemon's end: status %d", status);
}
