/* SPDX-License-Identifier: Apache-2.0 */
/*
 * PINs: their text as the reference implementation of argon2 has it (RFC 9106), what is counted before
 * a PIN is looked at, and how long wrong ones have to wait. Time is an argument.
 */
#include "record_help.h"

#include <errno.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define PIN "47a1c9"
#define OTHER "white-fence-9"
#define BOOT "0b3c2f6e-5a0d-4a51-9d62-6a1f6f0f1a01"
#define BOOT_2 "0b3c2f6e-5a0d-4a51-9d62-6a1f6f0f1a02"
#define LONGEST 900000

/* -- what the disk and the look are asked for, in order ------------------------------------------ */

/* f: fsync, r: renameat, L: a PIN is looked at. cut_at: power goes at the start of that one. */
static char events[64];
static unsigned cut_at = UINT32_MAX;
static enum { REAL = 1, ALL_WRONG, NO_MEMORY } looks = REAL;

static void event(char what)
{
	size_t n = strlen(events);

	if (n == cut_at)
		_exit(0);
	if (n + 1 < sizeof(events))
		events[n] = what;
}

int fsync(int fd)
{
	event('f');
	return (int)syscall(SYS_fsync, fd);
}

int renameat(int from, const char *name, int to, const char *new)
{
	event('r');
	return (int)syscall(SYS_renameat2, from, name, to, new, 0);
}

int crypto_pwhash_str_verify(const char text[crypto_pwhash_STRBYTES], const char *const pin,
			     unsigned long long length)
{
	event('L');
	if (looks == REAL)
		return crypto_pwhash_argon2id_str_verify(text, pin, length);
	errno = looks == NO_MEMORY ? ENOMEM : EINVAL;
	return -1;
}

/* -- help ----------------------------------------------------------------------------------------- */

static int begin(void **state)
{
	memset(events, 0, sizeof(events));
	cut_at = UINT32_MAX;
	looks = REAL;
	return with_folder(state);
}

static void set(const struct folder *f, const char *pin)
{
	char why[256];

	if (pw_pin_set(f->path, PW_INSTALLER, pin, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	memset(events, 0, sizeof(events));
}

static enum pw_pin_answer try_at(const struct folder *f, const char *pin, int64_t now_ms,
				 const char *boot, int64_t *wait_ms)
{
	char why[256] = "";
	enum pw_pin_answer answer;

	memset(events, 0, sizeof(events));
	answer = pw_pin_try(f->path, PW_INSTALLER, pin, now_ms, boot, wait_ms, why, sizeof(why));
	assert_int_equal(answer == PW_PIN_TROUBLE, why[0] != '\0');
	return answer;
}

#define assert_try(f, pin, now_ms, boot, answer, wait) do { \
	int64_t wait_ms_; \
	assert_int_equal(try_at(f, pin, now_ms, boot, &wait_ms_), answer); \
	assert_int_equal(wait_ms_, wait); \
} while (0)

/* So many wrong ones, each as soon as it is looked at; when the last one was. */
static int64_t wrong_ones(const struct folder *f, unsigned count, int64_t now_ms)
{
	int64_t wait_ms = 0;

	looks = ALL_WRONG;
	for (unsigned i = 0; i < count; i++) {
		now_ms += wait_ms;
		assert_int_equal(try_at(f, PIN, now_ms, BOOT, &wait_ms), PW_PIN_WRONG);
	}
	looks = REAL;
	return now_ms;
}

/* -- the text -------------------------------------------------------------------------------------- */

static void phc_of(const struct folder *f, char text[160])
{
	ask(text, 160, "cat '%s'", in(f, "pin.installer"));
}

/* The salt out of the text, as octal for printf(1). False: it has a byte that no argument can. */
static bool salt_of(const char *text, char octal[80])
{
	const char *from = strrchr(text, '$');
	unsigned char salt[16];
	size_t length;

	while (from[-1] != '$')
		from--;
	assert_int_equal(sodium_base642bin(salt, sizeof(salt), from,
					   (size_t)(strrchr(text, '$') - from), NULL, &length, NULL,
					   sodium_base64_VARIANT_ORIGINAL_NO_PADDING), 0);
	assert_int_equal(length, sizeof(salt));
	for (size_t i = 0; i < length; i++)
		sprintf(octal + 4 * i, "\\%03o", salt[i]);
	return memchr(salt, '\0', length) == NULL && salt[length - 1] != '\n';
}

/* RFC 9106: the reference implementation's own command (argon2) makes the same text of the same salt,
 * with 3 passes over 16 MiB in one lane. */
static void the_text_is_argon2id(void **state)
{
	static const char *const pins[] = { PIN, OTHER, "six 66", "0123456789~!@#%^&*()_+-=[]{};:,.<>/?|"
					    " 0123456789ABCDEF 01234567" };
	struct folder *f = *state;
	char text[160], again[160], octal[80];

	for (size_t i = 0; i < COUNT(pins); i++) {
		do {
			set(f, pins[i]);
			phc_of(f, text);
		} while (!salt_of(text, octal));
		assert_memory_equal(text, "$argon2id$v=19$m=16384,t=3,p=1$", 31);
		ask(again, sizeof(again), "printf %%s '%s' | argon2 \"$(printf '%s')\" -id -t 3 -k 16384"
		    " -p 1 -l 32 -e", pins[i], octal);
		assert_string_equal(again, text);
	}
}

/* And a text that it made is taken here. */
static void a_text_from_outside_is_taken(void **state)
{
	struct folder *f = *state;

	assert_int_equal(run("printf %%s '%s' | argon2 0123456789abcdef -id -t 3 -k 16384 -p 1 -l 32 -e"
			     " > '%s'", PIN, in(f, "pin.installer")), 0);
	assert_try(f, OTHER, 1000, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, PIN, 1000, BOOT, PW_PIN_RIGHT, 0);
}

static void each_salt_is_its_own(void **state)
{
	struct folder *f = *state;
	char one[160], two[160];

	set(f, PIN);
	phc_of(f, one);
	set(f, PIN);
	phc_of(f, two);
	assert_string_not_equal(one, two);
}

static void files_are_the_owner_s_alone(void **state)
{
	struct folder *f = *state;
	const mode_t before = umask(0);
	struct stat s;

	set(f, PIN);
	assert_try(f, OTHER, 1000, BOOT, PW_PIN_WRONG, 0);
	umask(before);
	assert_int_equal(stat(in(f, "pin.installer"), &s), 0);
	assert_int_equal(s.st_mode & 07777, 0600);
	assert_int_equal(stat(in(f, "pin.installer.tries"), &s), 0);
	assert_int_equal(s.st_mode & 07777, 0600);
	assert_false(exists(f, "pin.installer.new"));
	assert_false(exists(f, "pin.installer.tries.new"));
}

static void what_is_no_pin(void **state)
{
	static const char *const bad[] = {
		"", "1", "47a1c", "000000", "zzzzzzzz", "123456", "654321", "456789012", "210987",
		"abcdef", "fedcba", "47a1c\t", "47a1c\x7f", "47a1c\xc3\xbc", "47a1c9\n",
		"0123456789012345678901234567890123456789012345678901234567890123x", /* 65 */
	};
	struct folder *f = *state;
	char why[256];

	for (size_t i = 0; i < COUNT(bad); i++) {
		why[0] = '\0';
		if (pw_pin_set(f->path, PW_INSTALLER, bad[i], why, sizeof(why)) != -1 || why[0] == '\0')
			fail_msg("\"%s\" was taken", bad[i]);
	}
	assert_int_equal(pw_pin_set(f->path, PW_INSTALLER, NULL, why, sizeof(why)), -1);
	assert_int_equal(pw_pin_set(f->path, PW_NOBODY, PIN, why, sizeof(why)), -1);
	assert_int_equal(pw_pin_set(f->path, PW_ROLES, PIN, why, sizeof(why)), -1);
	assert_int_equal(pw_pin_set(in(f, "none"), PW_INSTALLER, PIN, why, sizeof(why)), -1);
	assert_int_equal(run("test -z \"$(ls -A '%s')\"", f->path), 0);
	set(f, "112233");
	set(f, "123457");
	set(f, "0123456789012345678901234567890123456789012345678901234567890124"); /* 64 */
}

static void roles(void **state)
{
	struct folder *f = *state;
	char why[256];

	assert_int_equal(pw_role_find("installer"), PW_INSTALLER);
	assert_int_equal(pw_role_find("mechanic"), PW_MECHANIC);
	assert_int_equal(pw_role_find("nobody"), PW_NOBODY);
	assert_int_equal(pw_role_find(NULL), PW_NOBODY);
	/* one for each: the other's opens nothing, and its wrong tries are its own */
	set(f, PIN);
	assert_int_equal(pw_pin_set(f->path, PW_MECHANIC, OTHER, why, sizeof(why)), 0);
	wrong_ones(f, 4, 0);
	assert_int_equal(pw_pin_try(f->path, PW_MECHANIC, PIN, 0, BOOT, &(int64_t){ 0 }, why,
				    sizeof(why)), PW_PIN_WRONG);
	assert_int_equal(pw_pin_try(f->path, PW_MECHANIC, OTHER, 0, BOOT, &(int64_t){ 0 }, why,
				    sizeof(why)), PW_PIN_RIGHT);
	assert_int_equal(pw_pin_try(f->path, PW_NOBODY, OTHER, 0, BOOT, &(int64_t){ 0 }, why,
				    sizeof(why)), PW_PIN_TROUBLE);
}

static void none_is_set(void **state)
{
	struct folder *f = *state;

	assert_try(f, PIN, 1000, BOOT, PW_PIN_NONE, 0);
	assert_false(exists(f, "pin.installer.tries"));
}

/* -- counting -------------------------------------------------------------------------------------- */

/* Temporary, fsync, rename, fsync of the folder: all before the look. */
static void counted_before_it_is_looked_at(void **state)
{
	struct folder *f = *state;

	set(f, PIN);
	assert_try(f, OTHER, 1000, BOOT, PW_PIN_WRONG, 0);
	assert_string_equal(events, "frfL");
	assert_try(f, PIN, 1000, BOOT, PW_PIN_RIGHT, 0);
	assert_string_equal(events, "frfLfrf");
}

/* The power goes at each moment of a try, 3 times over: the count is there when the look begins. */
static void power_cuts_take_nothing_back(void **state)
{
	struct folder *f = *state;

	for (unsigned at = 0; at <= 3; at++) {
		set(f, PIN);
		for (unsigned i = 0; i < 3; i++) {
			pid_t pid = fork();

			if (pid == 0) {
				int64_t wait_ms;

				cut_at = at;
				try_at(f, OTHER, 1000, BOOT, &wait_ms);
				_exit(1);
			}
			waitpid(pid, NULL, 0);
		}
		if (at >= 2) /* renamed: the disk may have it */
			assert_try(f, PIN, 1000, BOOT, PW_PIN_WAIT, 5000);
		else /* never counted, never looked at */
			assert_try(f, PIN, 1000, BOOT, PW_PIN_RIGHT, 0);
	}
}

static void the_first_two_are_free(void **state)
{
	struct folder *f = *state;

	set(f, PIN);
	assert_try(f, OTHER, 1000, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, OTHER, 1000, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, OTHER, 1000, BOOT, PW_PIN_WRONG, 5000);
	assert_try(f, PIN, 1000, BOOT, PW_PIN_WAIT, 5000);
	assert_string_equal(events, ""); /* not looked at */
	assert_try(f, PIN, 6000, BOOT, PW_PIN_RIGHT, 0);
	assert_try(f, OTHER, 6000, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, OTHER, 6000, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, PIN, 6000, BOOT, PW_PIN_RIGHT, 0);
}

/* What cannot be one is a try as well. */
static void what_cannot_be_one_is_counted(void **state)
{
	static char long_one[PW_PIN_MAX + 10];
	struct folder *f = *state;

	memset(long_one, 'x', sizeof(long_one) - 1);
	set(f, PIN);
	assert_try(f, "", 0, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, NULL, 0, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, long_one, 0, BOOT, PW_PIN_WRONG, 5000);
}

/* After 3: 5 s, doubled with each, 15 min at most; looked at when it is over, and not 1 ms before. */
static void back_off(void **state)
{
	static const int64_t after_s[] = { 0, 0, 0, 5, 10, 20, 40, 80, 160, 320, 640, 900, 900, 900 };
	struct folder *f = *state;
	int64_t now_ms = 1000, wait_ms;

	set(f, PIN);
	looks = ALL_WRONG;
	for (size_t n = 1; n < COUNT(after_s); n++) {
		const int64_t ms = after_s[n] * 1000;

		assert_try(f, PIN, now_ms, BOOT, PW_PIN_WRONG, ms);
		for (int64_t passed = 0; passed < ms; passed += ms / 7 + 1)
			assert_try(f, PIN, now_ms + passed, BOOT, PW_PIN_WAIT, ms - passed);
		if (ms > 0)
			assert_try(f, PIN, now_ms + ms - 1, BOOT, PW_PIN_WAIT, 1);
		now_ms += ms;
	}
	for (unsigned i = 0; i < 1100; i++) { /* for ever */
		assert_int_equal(try_at(f, PIN, now_ms, BOOT, &wait_ms), PW_PIN_WRONG);
		now_ms += wait_ms;
	}
	assert_int_equal(wait_ms, LONGEST);
	looks = REAL;
	assert_try(f, PIN, now_ms, BOOT, PW_PIN_RIGHT, 0);
}

/* Nothing is kept but in the file: another process goes on from it. */
static void a_restart_changes_nothing(void **state)
{
	struct folder *f = *state;
	int64_t wait_ms;
	int status;
	pid_t pid;

	set(f, PIN);
	pid = fork();
	if (pid == 0) {
		wrong_ones(f, 5, 0); /* 0, 0, 0 + 5 s, + 10 s: the fifth at 15 s */
		_exit(0);
	}
	waitpid(pid, &status, 0);
	assert_int_equal(status, 0);
	assert_int_equal(try_at(f, PIN, 15000, BOOT, &wait_ms), PW_PIN_WAIT);
	assert_int_equal(wait_ms, 20000);
}

/* In another boot the wait counts from its beginning, whatever the last one's clock had come to. */
static void another_boot(void **state)
{
	static const int64_t last_ms[] = { 0, 3600000, INT64_C(4000000000) };
	struct folder *f = *state;

	for (size_t i = 0; i < COUNT(last_ms); i++) {
		set(f, PIN);
		wrong_ones(f, 5, last_ms[i]);
		assert_try(f, PIN, 0, BOOT_2, PW_PIN_WAIT, 20000);
		assert_try(f, PIN, 19999, BOOT_2, PW_PIN_WAIT, 1);
		looks = ALL_WRONG;
		assert_try(f, PIN, 20000, BOOT_2, PW_PIN_WRONG, 40000);
		looks = REAL;
		/* and back: a third boot is another one as well */
		assert_try(f, PIN, 39999, BOOT, PW_PIN_WAIT, 1);
		assert_try(f, PIN, 40000, BOOT, PW_PIN_RIGHT, 0);
	}
}

/* -- damage ---------------------------------------------------------------------------------------- */

static size_t read_tries(const struct folder *f, char text[512])
{
	FILE *file = fopen(in(f, "pin.installer.tries"), "r");
	size_t n;

	assert_non_null(file);
	n = fread(text, 1, 511, file);
	text[n] = '\0';
	fclose(file);
	return n;
}

static void write_tries(const struct folder *f, const char *text, size_t n)
{
	FILE *file = fopen(in(f, "pin.installer.tries"), "w");

	assert_non_null(file);
	assert_int_equal(fwrite(text, 1, n, file), n);
	fclose(file);
}

/* As many tries as there may be: the longest wait, from now, once. */
static void assert_longest(const struct folder *f, int64_t now_ms)
{
	assert_try(f, PIN, now_ms, BOOT, PW_PIN_WAIT, LONGEST);
	assert_null(strchr(events, 'L'));
	assert_try(f, PIN, now_ms + LONGEST - 1, BOOT, PW_PIN_WAIT, 1);
}

static void a_torn_count(void **state)
{
	struct folder *f = *state;
	char text[512], bad[512];
	size_t n;

	set(f, PIN);
	assert_try(f, OTHER, 1000, BOOT, PW_PIN_WRONG, 0);
	n = read_tries(f, text);
	for (size_t cut = 0; cut < n; cut++) {
		write_tries(f, text, cut);
		assert_longest(f, 2000);
	}
	for (size_t bit = 0; bit < 8 * n; bit += 3) {
		memcpy(bad, text, n);
		bad[bit / 8] = (char)(bad[bit / 8] ^ 1 << bit % 8);
		write_tries(f, bad, n);
		assert_longest(f, 2000);
	}
	memset(bad, 0, n); /* what some file systems leave after a cut */
	write_tries(f, bad, n);
	assert_longest(f, 2000);
	memcpy(bad, text, n);
	memcpy(bad + n, "more\n", 5);
	write_tries(f, bad, n + 5);
	assert_longest(f, 2000);
	/* whole again it is one try as before; and the longest wait does end */
	write_tries(f, text, n);
	assert_try(f, OTHER, 2000, BOOT, PW_PIN_WRONG, 0);
	write_tries(f, text, n / 2);
	assert_longest(f, 2000);
	assert_try(f, OTHER, 2000 + LONGEST, BOOT, PW_PIN_WRONG, LONGEST);
	assert_try(f, PIN, 2000 + 2 * LONGEST, BOOT, PW_PIN_RIGHT, 0);
}

/* A last try that is still to come, in this very boot. */
static void a_try_of_the_future(void **state)
{
	struct folder *f = *state;

	set(f, PIN);
	assert_try(f, OTHER, 5000, BOOT, PW_PIN_WRONG, 0);
	assert_longest(f, 4999);
}

static void a_pin_file_that_is_none(void **state)
{
	static const char *const bad[] = {
		"", "\n", "47a1c9\n", "$argon2id$v=19$m=16384,t=3,p=1$\n",
		"$argon2i$v=19$m=16384,t=3,p=1$MDEyMzQ1Njc4OWFiY2RlZg$"
		"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA\n",
		"$argon2id$v=19$m=1048576,t=3,p=1$MDEyMzQ1Njc4OWFiY2RlZg$"
		"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA\n",
		"$argon2id$v=19$m=8,t=1,p=1$MDEyMzQ1Njc4OWFiY2RlZg$"
		"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA\n",
	};
	struct folder *f = *state;

	for (size_t i = 0; i < COUNT(bad); i++) {
		write_file(in(f, "pin.installer"), bad[i]);
		assert_try(f, PIN, 1000, BOOT, PW_PIN_TROUBLE, 0);
		assert_null(strchr(events, 'L'));
	}
}

static void which_boot_is_not_known(void **state)
{
	struct folder *f = *state;

	set(f, PIN);
	assert_try(f, PIN, 1000, NULL, PW_PIN_TROUBLE, 0);
	assert_try(f, PIN, 1000, "", PW_PIN_TROUBLE, 0);
	assert_try(f, PIN, 1000, "two words", PW_PIN_TROUBLE, 0);
	assert_try(f, PIN, 1000, "a-boot-id-that-is-longer-than-one-of-the-kernel", PW_PIN_TROUBLE, 0);
	assert_try(f, PIN, -1, BOOT, PW_PIN_TROUBLE, 0);
}

static void no_memory(void **state)
{
	struct folder *f = *state;
	int64_t wait_ms;

	set(f, PIN);
	looks = NO_MEMORY;
	for (unsigned i = 0; i < 3; i++)
		assert_int_equal(try_at(f, PIN, 1000, BOOT, &wait_ms), PW_PIN_TROUBLE);
	looks = REAL; /* each was counted */
	assert_try(f, PIN, 1000, BOOT, PW_PIN_WAIT, 5000);
}

/* In a process of its own: no write gets through. 0: trouble, and nothing was looked at. */
static int try_without_writes(const struct folder *f, bool other_user)
{
	const struct rlimit none = { 0, 0 };
	int64_t wait_ms;
	int status;
	pid_t pid = fork();

	if (pid == 0) {
		if (other_user && geteuid() == 0 && (setgid(65534) < 0 || setuid(65534) < 0))
			_exit(2);
		signal(SIGXFSZ, SIG_IGN);
		if (!other_user)
			setrlimit(RLIMIT_FSIZE, &none);
		_exit(try_at(f, PIN, 1000, BOOT, &wait_ms) != PW_PIN_TROUBLE
		      || strchr(events, 'L') != NULL);
	}
	waitpid(pid, &status, 0);
	return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* Never a free try: not in a folder that cannot be written, not on a disk that takes nothing. */
static void nothing_can_be_written(void **state)
{
	struct folder *f = *state;

	set(f, PIN);
	assert_int_equal(try_without_writes(f, false), 0);
	if (geteuid() == 0)
		assert_int_equal(chown(in(f, "pin.installer"), 65534, 65534), 0);
	assert_int_equal(chmod(f->path, 0555), 0);
	assert_int_equal(try_without_writes(f, true), 0);
	assert_int_equal(chmod(f->path, 0755), 0);
	assert_try(f, PIN, 1000, BOOT, PW_PIN_RIGHT, 0);
}

/* Several at once: each is looked at on a count of its own. */
static void many_at_once(void **state)
{
	enum { MANY = 12 };
	struct folder *f = *state;
	unsigned count[PW_PIN_TROUBLE + 1] = { 0 };
	pid_t pid[MANY];
	int status;

	set(f, PIN);
	looks = ALL_WRONG;
	for (unsigned i = 0; i < MANY; i++) {
		pid[i] = fork();
		if (pid[i] == 0) {
			int64_t wait_ms;

			_exit((int)try_at(f, PIN, 1000, BOOT, &wait_ms));
		}
	}
	for (unsigned i = 0; i < MANY; i++) {
		waitpid(pid[i], &status, 0);
		count[WEXITSTATUS(status)]++;
	}
	assert_int_equal(count[PW_PIN_WRONG], 3);
	assert_int_equal(count[PW_PIN_WAIT], MANY - 3);
}

/* -- setting --------------------------------------------------------------------------------------- */

static void setting_forgets_wrong_tries(void **state)
{
	struct folder *f = *state;

	set(f, PIN);
	wrong_ones(f, 6, 0);
	set(f, OTHER);
	assert_try(f, PIN, 0, BOOT, PW_PIN_WRONG, 0);
	assert_try(f, OTHER, 0, BOOT, PW_PIN_RIGHT, 0);
}

/* The power goes at each moment of it: the old one, or the new one. */
static void set_whole_or_not_at_all(void **state)
{
	struct folder *f = *state;

	for (unsigned at = 0; at < 3; at++) {
		pid_t pid;

		set(f, PIN);
		pid = fork();
		if (pid == 0) {
			char why[256];

			cut_at = at;
			pw_pin_set(f->path, PW_INSTALLER, OTHER, why, sizeof(why));
			_exit(1);
		}
		waitpid(pid, NULL, 0);
		assert_try(f, at < 2 ? PIN : OTHER, 0, BOOT, PW_PIN_RIGHT, 0);
		assert_try(f, at < 2 ? OTHER : PIN, 0, BOOT, PW_PIN_WRONG, 0);
	}
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, without_folder)
	const struct CMUnitTest tests[] = {
		TEST(the_text_is_argon2id),
		TEST(a_text_from_outside_is_taken),
		TEST(each_salt_is_its_own),
		TEST(files_are_the_owner_s_alone),
		TEST(what_is_no_pin),
		TEST(roles),
		TEST(none_is_set),
		TEST(counted_before_it_is_looked_at),
		TEST(power_cuts_take_nothing_back),
		TEST(the_first_two_are_free),
		TEST(what_cannot_be_one_is_counted),
		TEST(back_off),
		TEST(a_restart_changes_nothing),
		TEST(another_boot),
		TEST(a_torn_count),
		TEST(a_try_of_the_future),
		TEST(a_pin_file_that_is_none),
		TEST(which_boot_is_not_known),
		TEST(no_memory),
		TEST(nothing_can_be_written),
		TEST(many_at_once),
		TEST(setting_forgets_wrong_tries),
		TEST(set_whole_or_not_at_all),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
