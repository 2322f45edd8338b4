/* SPDX-License-Identifier: Apache-2.0 */
/* Seals (J4) as openssl checks them, and the two files that hold the newest outside. */
#include "record_help.h"

#include <sys/mount.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#include "record_disk.h"

#define EPOCH "00112233aabbccdd"
/* FIPS 180-4, "abc" */
#define HASH "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

static struct pw_seal_file sealed_in(const char *epoch, uint64_t seq)
{
	struct pw_seal_file f = { .bus = BUS, .seal.seq = seq };

	snprintf(f.epoch, sizeof(f.epoch), "%s", epoch);
	snprintf(f.seal.hash, sizeof(f.seal.hash), "%s", HASH);
	pw_seal_make(f.bus, f.epoch, &f.seal, fixed_key());
	return f;
}

static struct pw_seal_file sealed(uint64_t seq)
{
	return sealed_in(EPOCH, seq);
}

static void must_write(const struct folder *f, const struct pw_seal_file *s)
{
	if (pw_seal_file_write(f->path, s) != 0)
		fail_msg("%s", strerror(errno));
}

/* The seq in that file, 0 when it is not there. */
static uint64_t seq_in(const struct folder *f, const char *name)
{
	struct pw_seal_file s = { .seal.seq = 0 };
	FILE *file = fopen(in(f, name), "r");

	if (file == NULL)
		return 0;
	assert_int_equal(fscanf(file, "postwalk-seal-v1 %31s %16s %" SCNu64, s.bus, s.epoch,
				&s.seal.seq), 3);
	fclose(file);
	return s.seal.seq;
}

static void assert_seqs(const struct folder *f, uint64_t a, uint64_t b)
{
	assert_int_equal(seq_in(f, "seal.a"), a);
	assert_int_equal(seq_in(f, "seal.b"), b);
}

static int read_both(const struct folder *f, struct pw_seal_file s[2], unsigned *broken)
{
	return pw_seal_files_read(f->path, s, broken);
}

static void write_public(const struct folder *f)
{
	char pem[PW_PEM_MAX];

	pw_public_key_pem(&fixed_key()->public, pem);
	write_file(in(f, "bus.pub"), pem);
}

/* -- the text ---------------------------------------------------------------------------------- */

/* J4: five lines, each with its LF. */
static void the_text_that_is_signed(void **state)
{
	const struct pw_seal s = { .seq = 42, .hash = HASH };
	const struct pw_seal last = { .seq = UINT64_MAX, .hash = HASH };
	char text[PW_SEAL_TEXT_MAX];
	int n = pw_seal_text(BUS, EPOCH, &s, text);

	(void)state;
	assert_string_equal(text, "postwalk-seal-v1\nbus-7\n" EPOCH "\n42\n" HASH "\n");
	assert_int_equal(n, strlen(text));
	n = pw_seal_text("a-name-as-long-as-a-bus-can-have", EPOCH, &last, text);
	assert_true(n < PW_SEAL_TEXT_MAX - 1);
	assert_int_equal(n, strlen(text));
}

static void a_seal_as_openssl_checks_it(void **state)
{
	struct folder *f = *state;
	const struct pw_seal_file s = sealed(42);
	char text[PW_SEAL_TEXT_MAX], answer[64];

	write_public(f);
	pw_seal_text(BUS, EPOCH, &s.seal, text);
	write_file(in(f, "text"), text);
	write_file(in(f, "hex"), s.seal.sig);
	ask(answer, sizeof(answer), "cd '%s' && tr a-f A-F < hex | basenc --base16 -d > sig &&"
	    " openssl pkeyutl -verify -rawin -pubin -inkey bus.pub -in text -sigfile sig", f->path);
	assert_string_equal(answer, "Signature Verified Successfully");
}

/* The first five lines are what is signed, the sixth is the signature. */
static void both_files_as_openssl_checks_them(void **state)
{
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(256), other = sealed(300);
	char answer[64];

	write_public(f);
	must_write(f, &one);
	must_write(f, &other);
	for (char name = 'a'; name <= 'b'; name++) {
		ask(answer, sizeof(answer), "cd '%s' && head -n 5 seal.%c > text &&"
		    " tail -n +6 seal.%c | tr a-f A-F | basenc --base16 -d > sig &&"
		    " openssl pkeyutl -verify -rawin -pubin -inkey bus.pub -in text -sigfile sig",
		    f->path, name, name);
		assert_string_equal(answer, "Signature Verified Successfully");
	}
}

static void a_seal_of_anything_else_does_not_hold(void **state)
{
	const struct pw_seal_file s = sealed(42);
	struct pw_secret_key other;
	struct pw_seal bent = s.seal;

	(void)state;
	assert_true(pw_seal_holds(BUS, EPOCH, &s.seal, &fixed_key()->public));
	assert_false(pw_seal_holds("bus-8", EPOCH, &s.seal, &fixed_key()->public));
	assert_false(pw_seal_holds(BUS, "00112233aabbccde", &s.seal, &fixed_key()->public));
	crypto_sign_keypair(other.public.bytes, other.bytes);
	assert_false(pw_seal_holds(BUS, EPOCH, &s.seal, &other.public));
	bent.seq = 43;
	assert_false(pw_seal_holds(BUS, EPOCH, &bent, &fixed_key()->public));
	bent = s.seal;
	bent.hash[63] = 'e';
	assert_false(pw_seal_holds(BUS, EPOCH, &bent, &fixed_key()->public));
}

/* -- the files --------------------------------------------------------------------------------- */

static void they_are_written_in_turn(void **state)
{
	struct folder *f = *state;
	struct pw_seal_file s[2];
	unsigned broken;
	struct stat st;

	assert_int_equal(read_both(f, s, &broken), 0);
	assert_int_equal(broken, 0);
	for (uint64_t seq = 1; seq <= 6; seq++) {
		const struct pw_seal_file fresh = sealed(seq * 100);

		must_write(f, &fresh);
		assert_seqs(f, seq % 2 ? seq * 100 : seq * 100 - 100,
			    seq % 2 ? seq * 100 - 100 : seq * 100);
		assert_int_equal(read_both(f, s, &broken), seq == 1 ? 1 : 2);
		assert_int_equal(broken, 0);
	}
	assert_memory_equal(&s[1], &(struct pw_seal_file[1]){ sealed(600) }, sizeof(s[1]));
	assert_int_equal(stat(in(f, "seal.a"), &st), 0);
	assert_int_equal(st.st_mode & 0137, 0);
}

/* What is of no use is written over before what is. */
static void which_one_is_written(void **state)
{
	static const struct {
		int line;
		const char *spoil;
		uint64_t a, b;
	} cases[] = { /* of 500 in seal.a and 400 in seal.b */
		{ __LINE__, ":", 500, 600 },
		{ __LINE__, "rm seal.a", 600, 400 },
		{ __LINE__, "rm seal.b", 500, 600 },
		{ __LINE__, "rm seal.*", 600, 0 },
		{ __LINE__, "mv seal.a x; mv seal.b seal.a; mv x seal.b", 600, 500 },
		{ __LINE__, ": > seal.a", 600, 400 },
		{ __LINE__, "sed -i '$s/.$//' seal.a", 600, 400 },
		{ __LINE__, "sed -i 3s/0/1/ seal.a", 600, 400 },
		{ __LINE__, "sed -i 3s/0/1/ seal.b", 500, 600 },
		{ __LINE__, "cp seal.a seal.b", 600, 500 },
	};
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(500), other = sealed(400), fresh = sealed(600);

	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		assert_int_equal(run("rm -f '%s'/*", f->path), 0);
		must_write(f, &one);
		must_write(f, &other);
		assert_seqs(f, 500, 400);
		assert_int_equal(run("cd '%s' && %s", f->path, cases[i].spoil), 0);
		must_write(f, &fresh);
		if (seq_in(f, "seal.a") != cases[i].a || seq_in(f, "seal.b") != cases[i].b)
			fail_msg("line %d: %" PRIu64 ", %" PRIu64, cases[i].line,
				 seq_in(f, "seal.a"), seq_in(f, "seal.b"));
	}
}

/* -- broken ------------------------------------------------------------------------------------ */

struct bytes {
	size_t size;
	char at[1024];
};

static struct bytes take(const struct folder *f, const char *name)
{
	FILE *file = fopen(in(f, name), "r");
	struct bytes b;

	assert_non_null(file);
	b.size = fread(b.at, 1, sizeof(b.at), file);
	fclose(file);
	return b;
}

static void put(const struct folder *f, const char *name, const struct bytes *b, size_t size)
{
	FILE *file = fopen(in(f, name), "w");

	assert_non_null(file);
	assert_int_equal(fwrite(b->at, 1, size, file), size);
	fclose(file);
}

static void every_cut_is_broken(void **state)
{
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(500), other = sealed(600);
	struct pw_seal_file s[2];
	struct bytes whole;
	unsigned broken;

	must_write(f, &one);
	must_write(f, &other);
	whole = take(f, "seal.a");
	for (size_t cut = 0; cut < whole.size; cut++) {
		put(f, "seal.a", &whole, cut);
		assert_int_equal(read_both(f, s, &broken), 1);
		assert_int_equal(broken, 1);
		assert_memory_equal(&s[0], &other, sizeof(other));
	}
	put(f, "seal.a", &whole, whole.size);
	assert_int_equal(read_both(f, s, &broken), 2);
}

/* Where one byte more or another byte is still of that form, the signature does not hold. */
static void assert_worth_nothing(const struct folder *f, const struct pw_seal_file *other,
				 const char *what, size_t n)
{
	struct pw_seal_file s[2];
	unsigned broken;
	int count = read_both(f, s, &broken);

	if (count + (int)broken != 2)
		fail_msg("%s %zu: %d whole, %u broken", what, n, count, broken);
	if (count == 2 && pw_seal_holds(s[0].bus, s[0].epoch, &s[0].seal, &fixed_key()->public))
		fail_msg("%s %zu: it holds", what, n);
	assert_memory_equal(&s[count - 1], other, sizeof(*other));
}

static void every_bit_counts(void **state)
{
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(500), other = sealed(600);
	struct bytes whole, bent;

	must_write(f, &one);
	must_write(f, &other);
	whole = take(f, "seal.a");
	for (size_t bit = 0; bit < whole.size * 8; bit++) {
		bent = whole;
		bent.at[bit / 8] ^= (char)(1 << bit % 8);
		put(f, "seal.a", &bent, bent.size);
		assert_worth_nothing(f, &other, "bit", bit);
	}
}

static void nothing_may_follow(void **state)
{
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(500), other = sealed(600);
	struct bytes whole, bent;

	must_write(f, &one);
	must_write(f, &other);
	whole = take(f, "seal.a");
	for (size_t byte = 0; byte < 256; byte++) {
		bent = whole;
		bent.at[bent.size++] = (char)byte;
		put(f, "seal.a", &bent, bent.size);
		assert_worth_nothing(f, &other, "byte", byte);
	}
	bent = whole;
	memset(bent.at + bent.size, '\n', sizeof(bent.at) - bent.size);
	put(f, "seal.a", &bent, sizeof(bent.at));
	assert_worth_nothing(f, &other, "size", sizeof(bent.at));
}

/* Another text of the same seal is not its file. */
static void there_is_one_text_of_a_seal(void **state)
{
	static const char *const spoils[] = {
		"1s/v1/v2/", "4s/500/0500/", "4s/500/+500/", "4s/500/ 500/", "4s/$/ /",
		"4s/500/99999999999999999999/", "4s/500/-500/", "5s/a/A/", "6s/[a-f]/X/",
		"2s/.*//", "2s/bus/bu s/", "2s/bus/bu\\xc3\\xa9/", "3s/^.//", "3s/$/0/",
		"2s/$/\\n/", "6d", "1d", "2s/.*/a-name-that-is-longer-than-a-bus-id/",
	};
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(500);
	struct pw_seal_file s[2];
	unsigned broken;

	must_write(f, &one);
	assert_int_equal(run("cp '%s' '%s'", in(f, "seal.a"), in(f, "good")), 0);
	for (size_t i = 0; i < sizeof(spoils) / sizeof(spoils[0]); i++) {
		assert_int_equal(run("cd '%s' && sed '%s' good > seal.a && ! cmp -s good seal.a",
				     f->path, spoils[i]), 0);
		if (read_both(f, s, &broken) != 0 || broken != 1)
			fail_msg("%s", spoils[i]);
	}
}

static void files_that_cannot_be_had(void **state)
{
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(500);
	struct pw_seal_file s[2];
	unsigned broken;

	assert_int_equal(pw_seal_files_read("/nowhere", s, &broken), -1);
	assert_int_equal(errno, ENOENT);
	assert_int_equal(pw_seal_file_write("/nowhere", &one), -1);
	assert_int_equal(errno, ENOENT);
	assert_int_equal(mkdir(in(f, "seal.a"), 0755), 0);
	assert_int_equal(read_both(f, s, &broken), -1);
	assert_int_equal(errno, EISDIR);
	assert_int_equal(pw_seal_file_write(f->path, &one), -1);
	assert_int_equal(errno, EISDIR);
	assert_false(exists(f, "seal.a.new"));
}

/* -- a disk that fails ------------------------------------------------------------------------- */

/* In a process of its own, on the disk as it was told to be. */
static bool write_elsewhere(const struct folder *f, const struct pw_seal_file *s)
{
	int status;
	pid_t pid = fork();

	assert_true(pid >= 0);
	if (pid == 0)
		_exit(pw_seal_file_write(f->path, s) == 0 ? 0 : errno);
	assert_int_equal(waitpid(pid, &status, 0), pid);
	if (WIFEXITED(status) && WEXITSTATUS(status) != 0)
		assert_int_equal(WEXITSTATUS(status), atomic_load(&disk->error));
	return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

/* Either the newest or the one before it, and never a broken one, whatever n-th call fails or is
 * what a power cut came before. */
static void a_write_that_fails_leaves_the_older_one(void **state)
{
	static const int errors[] = { ENOSPC, EIO, DISK_DIES };
	struct folder *f = *state;
	struct pw_seal_file s[2];
	unsigned broken;

	atomic_store(&disk->small, true);
	for (size_t i = 0; i < sizeof(errors) / sizeof(errors[0]); i++) {
		bool clean = false;
		int n;

		for (n = 1; !clean; n++) {
			const struct pw_seal_file one = sealed(500), other = sealed(600),
						  fresh = sealed(700);

			must_write(f, &one);
			must_write(f, &other);
			disk_tell(n, false, errors[i]);
			clean = write_elsewhere(f, &fresh);
			disk_tell(0, false, 0);
			assert_int_equal(read_both(f, s, &broken), 2);
			assert_int_equal(broken, 0);
			assert_memory_equal(&s[1], &other, sizeof(other));
			assert_memory_equal(&s[0], s[0].seal.seq == 500 ? &one : &fresh,
					    sizeof(one));
			assert_true(!clean || s[0].seal.seq == 700);
			must_write(f, &fresh);
			assert_seqs(f, 700, s[0].seal.seq == 500 ? 600 : 700);
			assert_false(exists(f, "seal.a.new") || exists(f, "seal.b.new"));
			assert_int_equal(run("rm '%s'/seal.*", f->path), 0);
		}
		assert_int_equal(n, 6); /* write, fsync, rename, fsync of the folder; clean */
	}
	atomic_store(&disk->small, false);
}

/* A file system of our own that is full, where this user may mount one. */
static void a_full_disk_leaves_the_older_one(void **state)
{
	struct folder *f = *state;
	const struct pw_seal_file one = sealed(500), other = sealed(600), fresh = sealed(700);
	struct pw_seal_file s[2];
	unsigned broken;

	if (mount("tmpfs", f->path, "tmpfs", 0, "size=16k") != 0) {
		print_message("no mount(2) here: a disk that is told to be full has to do\n");
		return;
	}
	must_write(f, &one);
	must_write(f, &other);
	assert_int_equal(run("cat /dev/zero > '%s' 2> /dev/null", in(f, "fill")) != 0, 1);
	for (int i = 0; i < 3; i++) {
		assert_int_equal(pw_seal_file_write(f->path, &fresh), -1);
		assert_int_equal(errno, ENOSPC);
		assert_false(exists(f, "seal.a.new"));
		assert_int_equal(read_both(f, s, &broken), 2);
		assert_int_equal(broken, 0);
		assert_memory_equal(&s[0], &one, sizeof(one));
		assert_memory_equal(&s[1], &other, sizeof(other));
	}
	assert_int_equal(unlink(in(f, "fill")), 0);
	must_write(f, &fresh);
	assert_seqs(f, 700, 600);
	assert_int_equal(umount(f->path), 0);
}

int main(void)
{
#define IN_FOLDER(test) \
	cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_text_that_is_signed),
		IN_FOLDER(a_seal_as_openssl_checks_it),
		IN_FOLDER(both_files_as_openssl_checks_them),
		cmocka_unit_test(a_seal_of_anything_else_does_not_hold),
		IN_FOLDER(they_are_written_in_turn),
		IN_FOLDER(which_one_is_written),
		IN_FOLDER(every_cut_is_broken),
		IN_FOLDER(every_bit_counts),
		IN_FOLDER(nothing_may_follow),
		IN_FOLDER(there_is_one_text_of_a_seal),
		IN_FOLDER(files_that_cannot_be_had),
		IN_FOLDER(a_write_that_fails_leaves_the_older_one),
		IN_FOLDER(a_full_disk_leaves_the_older_one),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
