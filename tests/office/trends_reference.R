# SPDX-License-Identifier: Apache-2.0
# What R says of groups, weeks and times as the office's trends have them (package stats).
#
#	Rscript tests/office/trends_reference.R FOLDER
#	Rscript tests/office/trends_reference.R --check
#
# writes FOLDER/trends_*.csv: trends_groups (several sets of made-up counts, judged), trends_sets (what is
# said of each set), trends_sweeps (a made-up yard's sweeps), trends_yard, trends_weeks and trends_times
# (what follows from those). --check: are those in tests/office/data what it says today, to 1e-10?

arguments <- commandArgs(trailingOnly = TRUE)
check <- identical(arguments, "--check")
kept <- "tests/office/data"
folder <- if (check) tempfile() else arguments[1]
if (length(arguments) != 1 || (!check && !dir.exists(folder))) {
	cat("usage: Rscript trends_reference.R FOLDER | --check\n", file = stderr())
	quit(status = 2)
}
if (check) dir.create(folder)
set.seed(20261127, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")

exactly <- function(v) {
	if (!is.numeric(v)) return(as.character(v))
	text <- sprintf("%.15g", v)
	for (digits in 16:17) {
		short <- is.finite(v) & suppressWarnings(as.numeric(text)) != v
		text[short] <- sprintf(paste0("%.", digits, "g"), v[short])
	}
	text
}
write_table <- function(frame, name) {
	columns <- lapply(frame, exactly)
	lines <- do.call(paste, c(unname(columns), sep = ","))
	writeLines(c(paste(names(frame), collapse = ","), lines),
		   file.path(folder, paste0("trends_", name, ".csv")))
}

# -- groups -----------------------------------------------------------------------------------------

# Between whole counts as Spiegelhalter (2005) has it: F9 in docs/sources.md.
limit <- function(p, n, target) {
	if (n * min(target, 1 - target) >= 10)
		return(target + qnorm(p) * sqrt(target * (1 - target) / n))
	if (target <= 0 || target >= 1) return(target)
	r <- qbinom(p, n, target)
	(r - (pbinom(r, n, target) - p) / dbinom(r, n, target)) / n
}
bounded <- function(v) pmin(pmax(v, 0), 1)

judged <- function(name, x, n) {
	target <- sum(x) / sum(n)
	wilson <- t(mapply(function(x, n) suppressWarnings(prop.test(x, n, correct = FALSE))$conf.int, x, n))
	p <- mapply(function(x, n) binom.test(x, n, target)$p.value, x, n)
	at <- function(q) bounded(vapply(n, function(n) limit(q, n, target), 0))
	frame <- data.frame(name = name, x = x, n = n, share = x / n, lower = wilson[, 1],
			    upper = wilson[, 2], warning_lower = at(0.025), warning_upper = at(0.975),
			    alarm_lower = at(0.001), alarm_upper = at(0.999), p_value = p,
			    adjusted = p.adjust(p, "BH"))
	# Of small counts: so many or more, or so few or fewer, are that unlikely.
	beyond <- function(q, limits, up) {
		few <- n * min(target, 1 - target) < 10
		tail <- if (up) pbinom(x - 1, n, target, lower.tail = FALSE) else pbinom(x, n, target)
		ifelse(few, tail <= q, if (up) frame$share > limits else frame$share < limits)
	}
	frame$place <- ifelse(beyond(0.001, frame$alarm_upper, TRUE), "above_998",
		ifelse(beyond(0.025, frame$warning_upper, TRUE), "above_95",
		ifelse(beyond(0.001, frame$alarm_lower, FALSE), "below_998",
		ifelse(beyond(0.025, frame$warning_lower, FALSE), "below_95", "within"))))
	frame
}
set_of <- function(frame) {
	target <- sum(frame$x) / sum(frame$n)
	square <- sum((frame$share - target)^2 / (target * (1 - target) / frame$n))
	looks <- nrow(frame)
	data.frame(looks = looks, x = sum(frame$x), n = sum(frame$n), outside = sum(frame$place != "within"),
		   alarms = sum(frame$place %in% c("above_998", "below_998")),
		   found = sum(frame$adjusted <= 0.05), false_alarm = 1 - 0.95^looks,
		   dispersion = square / (looks - 1),
		   dispersion_p = pchisq(square, looks - 1, lower.tail = FALSE))
}
# worse: how many of them miss so many times as often.
made <- function(looks, low, high, share, worse, times) {
	n <- sample(low:high, looks, replace = TRUE)
	p <- rep(share, looks)
	p[seq_len(worse)] <- share * times
	judged(sprintf("g%04d", sample(looks)), rbinom(looks, n, p), n)
}
sets <- list(made(412, 40, 700, 0.012, 9, 5), made(40, 1, 12, 0.05, 0, 1), made(60, 2000, 9000, 0.02, 25, 1.4),
	     made(2, 30, 60, 0.9, 0, 1), made(300, 20, 60, 0.004, 4, 20))
write_table(do.call(rbind, lapply(seq_along(sets), function(i) cbind(set = i, sets[[i]]))), "groups")
write_table(do.call(rbind, lapply(seq_along(sets), function(i) cbind(set = i, set_of(sets[[i]])))), "sets")

# -- a yard's sweeps --------------------------------------------------------------------------------

days <- as.Date("2026-09-07") + 0:74
days <- days[!as.POSIXlt(days)$wday %in% c(0, 6)]
sweeps <- do.call(rbind, lapply(1:14, function(bus) {
	on <- sort(sample(days, sample(12:50, 1)))
	missed <- if (bus == 3) 0.3 else 0.03
	data.frame(bus = bus, day = as.integer(format(on, "%Y%m%d")), minute = sample(420:1000, length(on)),
		   verdict = ifelse(runif(length(on)) < missed, "missed",
				    ifelse(runif(length(on)) < 0.05, "doubtful", "done")),
		   refused = rbinom(length(on), 3, 0.08), press_s = 10 + rbinom(length(on), 60, 0.3),
		   leave_s = 40 + rbinom(length(on), 200, 0.2))
}))
write_table(sweeps, "sweeps")
by_bus <- function(v) as.vector(tapply(v, sweeps$bus, sum))
yard <- judged(sprintf("%d", sort(unique(sweeps$bus))), by_bus(sweeps$verdict == "missed"),
	       by_bus(sweeps$verdict != ""))
write_table(cbind(yard, doubtful = by_bus(sweeps$verdict == "doubtful"), refused = by_bus(sweeps$refused)), "yard")
write_table(set_of(yard), "yard_set")

# A p chart by weeks; how far out in sigmas (Shewhart; limits at 3, clipped).
date <- as.Date(as.character(sweeps$day), "%Y%m%d")
monday <- as.integer(format(date - (as.POSIXlt(date)$wday + 6) %% 7, "%Y%m%d"))
by_week <- function(v) as.vector(tapply(v, monday, sum))
count <- by_week(sweeps$verdict == "missed")
size <- by_week(sweeps$verdict != "")
mean_share <- sum(count) / sum(size)
sigma <- sqrt(mean_share * (1 - mean_share) / size)
refused <- by_week(sweeps$refused)
rate <- sum(refused) / sum(size)
write_table(data.frame(begin = sort(unique(monday)), count = count, size = size, value = count / size,
		       mean = mean_share, lower = bounded(mean_share - 3 * sigma),
		       upper = bounded(mean_share + 3 * sigma), sigmas = (count / size - mean_share) / sigma,
		       refused = refused, u_mean = rate, u_lower = pmax(rate - 3 * sqrt(rate / size), 0),
		       u_upper = rate + 3 * sqrt(rate / size)), "weeks")

# Times of bus 3, of the sweeps with a press.
times <- function(v) as.vector(quantile(v, c(0.05, 0.25, 0.5, 0.75, 0.95), type = 7))
of <- sweeps[sweeps$bus == 3 & sweeps$verdict != "missed", ]
write_table(data.frame(what = c("press", "leaving"), n = nrow(of),
		       rbind(times(of$press_s), times(of$leave_s))), "times")

# -- are they what is kept? -------------------------------------------------------------------------

same <- function(a, b) {
	if (a == b) return(TRUE)
	x <- strsplit(a, ",")[[1]]
	y <- strsplit(b, ",")[[1]]
	if (length(x) != length(y)) return(FALSE)
	u <- suppressWarnings(as.numeric(x))
	v <- suppressWarnings(as.numeric(y))
	all(x == y | (!is.na(u) & !is.na(v) & abs(u - v) <= 1e-10 * abs(u) + 1e-15))
}
if (check) {
	names <- list.files(folder, "^trends_.*[.]csv$")
	bad <- 0
	for (name in names) {
		a <- readLines(file.path(kept, name))
		b <- readLines(file.path(folder, name))
		if (length(a) != length(b) || !all(mapply(same, a, b, USE.NAMES = FALSE))) {
			cat(name, "is not what R says today\n")
			bad <- bad + 1
		}
	}
	cat(sprintf("%d passed, %d failed\n", length(names) - bad, bad))
	quit(status = if (bad > 0) 1 else 0)
}
