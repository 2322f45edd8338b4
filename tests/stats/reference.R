# SPDX-License-Identifier: Apache-2.0
# Reference tables of the arithmetic of audits, by R's own functions (package stats) where R has one.
#
#	Rscript tests/stats/reference.R FOLDER
#
# writes FOLDER/*.csv: 1,000 random cases a table, always the same ones. Fields of several values have
# spaces between. Numbers have as many digits, up to 17, as it takes to read them back exactly.

folder <- commandArgs(trailingOnly = TRUE)
if (length(folder) != 1 || !dir.exists(folder)) {
	cat("usage: Rscript reference.R FOLDER\n", file = stderr())
	quit(status = 2)
}
cases <- 1000

# -- writing and drawing ----------------------------------------------------------------------------

exactly <- function(v) {
	text <- sprintf("%.15g", v)
	for (digits in 16:17) {
		short <- is.finite(v) & suppressWarnings(as.numeric(text)) != v
		text[short] <- sprintf(paste0("%.", digits, "g"), v[short])
	}
	paste(text, collapse = " ")
}

# case: a function of nothing, which gives a list of fields.
table_of <- function(name, case) {
	set.seed(20260801, kind = "Mersenne-Twister", normal.kind = "Inversion",
		 sample.kind = "Rejection")
	rows <- lapply(seq_len(cases), function(i) case())
	lines <- vapply(rows, function(row) paste(vapply(row, exactly, ""), collapse = ","), "")
	writeLines(c(paste(names(rows[[1]]), collapse = ","), lines),
		   file.path(folder, paste0(name, ".csv")))
}

# Evenly over orders of magnitude. What is drawn is rounded, so that another release of R, right to the
# last digit but one, draws the same.
size <- function(low, high, n = 1) exp(runif(n, log(low), log(high)))
count <- function(high, n = 1) pmin(floor(size(1, high + 1, n)), high)
level <- function() sample(c(0.5, 0.9, 0.95, 0.99, 0.998), 1)
tail_of <- function() signif(10^-runif(1, 0.01, 9), 4)
within <- function(v, low, high) pmin(pmax(v, low), high)

# A share of n, small as misses are or any; none and all come often.
share <- function(n) {
	p <- if (runif(1) < 0.5) size(1e-7, 0.5) else runif(1)
	x <- rbinom(1, n, p)
	if (runif(1) < 0.1) x <- sample(c(0, n), 1)
	x
}

# -- distributions ----------------------------------------------------------------------------------

table_of("normal", function() {
	z <- round(runif(1, -9, 9), 3)
	above <- tail_of()
	list(z = z, below = pnorm(z), above = pnorm(z, lower.tail = FALSE), tail = above,
	     at = qnorm(above, lower.tail = FALSE))
})

shape <- function() count(1e7) - if (runif(1) < 0.2) 0.5 else 0

table_of("beta", function() {
	a <- shape()
	b <- shape()
	x <- signif(qbeta(pnorm(within(2 * rnorm(1), -6, 6)), a, b), 8)
	tail <- tail_of()
	list(a = a, b = b, x = x, below = pbeta(x, a, b), above = pbeta(x, a, b, lower.tail = FALSE),
	     tail = tail, low = qbeta(tail, a, b), high = qbeta(tail, a, b, lower.tail = FALSE))
})

table_of("gamma", function() {
	a <- shape()
	x <- signif(qgamma(pnorm(within(2 * rnorm(1), -6, 6)), a), 7)
	tail <- tail_of()
	list(a = a, x = x, below = pgamma(x, a), above = pgamma(x, a, lower.tail = FALSE),
	     tail = tail, low = qgamma(tail, a), high = qgamma(tail, a, lower.tail = FALSE))
})

# -- shares and rates -------------------------------------------------------------------------------

table_of("share", function() {
	n <- count(1e7)
	x <- share(n)
	l <- level()
	p <- x / n
	expected <- within(p + 2 * rnorm(1) * sqrt(max(p * (1 - p), 1 / n) / n), 0, 1)
	if (runif(1) < 0.9) expected <- signif(expected, 4)
	# R takes less than 1/2 off where the count is that near to what was expected; not here.
	far <- if (p < 0.5) 0.999 else 0.001
	wilson <- suppressWarnings(prop.test(x, n, conf.level = l, correct = FALSE))$conf.int
	corrected <- suppressWarnings(prop.test(x, n, far, conf.level = l))$conf.int
	test <- binom.test(x, n, expected, conf.level = l)
	list(x = x, n = n, level = l, wilson = wilson, corrected = corrected, exact = test$conf.int,
	     expected = expected, p = test$p.value)
})

table_of("shares", function() {
	groups <- sample(c(2, 2, 2, 3, 4, 5), 1)
	n <- count(1e7, groups)
	p <- if (runif(1) < 0.5) size(1e-5, 0.5) else runif(1)
	x <- rbinom(groups, n, within(p + rnorm(groups) * sqrt(p * (1 - p) / n), 0, 1))
	l <- level()
	correct <- runif(1) < 0.5
	test <- suppressWarnings(prop.test(x, n, conf.level = l, correct = correct))
	known <- !is.nan(test$p.value)
	list(x = x, n = n, level = l, corrected = as.numeric(correct),
	     statistic = if (known) test$statistic else 0, p = if (known) test$p.value else 1,
	     difference = if (groups == 2) test$conf.int else c(NaN, NaN))
})

table_of("rate", function() {
	exposure <- signif(size(0.01, 1e6), 4)
	mean <- size(0.05, 1e7)
	x <- rpois(1, mean)
	expected <- signif(max(x + 2 * rnorm(1) * sqrt(max(x, 1)), mean / 100) / exposure, 4)
	l <- level()
	test <- poisson.test(x, exposure, expected, conf.level = l)
	list(x = x, exposure = exposure, level = l, exact = test$conf.int, expected = expected,
	     p = test$p.value)
})

table_of("rates", function() {
	exposure <- signif(size(0.01, 1e6, 2), 4)
	each <- size(0.05, 5e6) * c(1, size(0.1, 10)) / 10
	x <- rpois(2, each)
	if (sum(x) == 0) x[1] <- 1
	if (runif(1) < 0.8) exposure[2] <- signif(exposure[1] * each[2] / each[1], 4)
	l <- level()
	test <- poisson.test(x, exposure, conf.level = l)
	list(x = x, exposure = exposure, level = l, ratio = test$estimate, p = test$p.value,
	     interval = test$conf.int)
})

# -- funnels and charts -----------------------------------------------------------------------------

table_of("funnel", function() {
	target <- signif(if (runif(1) < 0.7) size(1e-6, 0.5) else runif(1), 4)
	n <- count(1e7)
	l <- level()
	p <- c((1 - l) / 2, (1 + l) / 2)
	normal <- target + qnorm(p) * sqrt(target * (1 - target) / n)
	r <- qbinom(p, n, target)
	exact <- (r - (pbinom(r, n, target) - p) / dbinom(r, n, target)) / n
	list(target = target, n = n, level = l, normal = within(normal, 0, 1), exact = pmax(exact, 0))
})

# The limits are what Shewhart's charts are by definition; R has the chi-square.
table_of("chart", function() {
	kind <- sample(1:3, 1)
	points <- sample(2:9, 1)
	size <- if (kind == 1) rep(1, points) else if (kind == 2) signif(size(0.1, 1000, points), 3)
		else count(1e5, points)
	rate <- if (kind == 3) size(0.001, 0.9) else size(0.01, 100)
	count <- if (kind == 3) rbinom(points, size, rate) else rpois(points, size * rate)
	mean <- sum(count) / sum(size)
	sigma <- sqrt(mean * (if (kind == 3) 1 - mean else 1) / size)
	off <- ifelse(count / size == mean, 0, (count / size - mean) / sigma)
	list(kind = kind, count = count, size = size, mean = mean,
	     dispersion = sum(off^2) / (points - 1),
	     p = pchisq(sum(off^2), points - 1, lower.tail = FALSE), sigmas = off[1],
	     limits = within((mean + c(-3, 3) * sigma[1]), 0, if (kind == 3) 1 else Inf))
})

# The sum of 2^(i - 1) over the rules i that end at each point.
table_of("runs", function() {
	z <- round(rnorm(20, rnorm(1) / 2, 1.2), 1)
	last <- function(v, of) {
		v <- stats::filter(c(rep(0, of - 1), v), rep(1, of), sides = 1)
		v[of:length(v)]
	}
	of <- function(need, of, beyond) (z > beyond & last(z > beyond, of) >= need) |
		(z < -beyond & last(z < -beyond, of) >= need)
	up <- c(0, diff(z) > 0)
	down <- c(0, diff(z) < 0)
	list(z = z, rules = of(1, 1, 3) + 2 * of(2, 3, 2) + 4 * of(4, 5, 1) + 8 * of(8, 8, 0) +
	     16 * (last(up, 5) == 5 | last(down, 5) == 5))
})

# -- looks ------------------------------------------------------------------------------------------

table_of("looks", function() {
	p <- sort(signif(ifelse(runif(sample(1:6, 1)) < 0.5, 10^-runif(1, 0, 6), runif(1)), 3))
	p <- sort(within(signif(p * size(0.2, 2, length(p)), 3), 0, 1))
	looks <- count(1e5)
	list(p = p, bonferroni = p.adjust(p, "bonferroni"), holm = p.adjust(p, "holm"),
	     bh = p.adjust(p, "BH"), looks = looks,
	     alarm = pbinom(0, looks, p[1], lower.tail = FALSE))
})

# -- distributions of times, drift, trend -----------------------------------------------------------

table_of("summary", function() {
	v <- sort(round(size(1, 1000, count(30)), sample(0:1, 1)))
	list(value = v, quantiles = quantile(v, c(0, 0.05, 0.25, 0.5, 0.75, 0.95, 1), type = 7),
	     mean = mean(v), sd = sd(v))
})

table_of("drift", function() {
	before <- rpois(sample(3:8, 1), size(0.2, 20))
	before <- c(before, before[1] + 1)
	value <- rpois(sample(2:8, 1), mean(before) * 1.5)
	sigma <- max(sd(before), 1)
	up <- Reduce(function(s, v) max(0, s + v - mean(before) - 0.5 * sigma), value, 0,
		     accumulate = TRUE)
	ewma <- stats::filter(0.2 * value, 0.8, "recursive", init = mean(before))
	list(before = before, value = value, sigma = sigma, cusum = up[length(up)],
	     days = length(up) - max(which(up == 0)), ewma = ewma[length(ewma)])
})

table_of("trend", function() {
	n <- if (runif(1) < 0.05) sample(50:60, 1) else sample(3:12, 1)
	x <- if (runif(1) < 0.5) seq_len(n) else round(runif(n, 0, 2 * n))
	y <- round(rnorm(1) * x + rnorm(n) * n, sample(0:2, 1))
	if (length(unique(x)) == 1) x <- seq_len(n)
	if (length(unique(y)) == 1) y[1] <- y[1] + 1
	pair <- combn(n, 2)
	dx <- x[pair[2, ]] - x[pair[1, ]]
	slope <- median(((y[pair[2, ]] - y[pair[1, ]]) / dx)[dx != 0])
	test <- suppressWarnings(cor.test(x, y, method = "kendall"))
	list(x = x, y = y, slope = slope, at_zero = median(y - slope * x), tau = test$estimate,
	     p = test$p.value)
})

# -- average run lengths ----------------------------------------------------------------------------

# Nodes and weights of Gauss and Legendre between low and high (Golub and Welsch).
gauss <- function(n, low, high) {
	i <- seq_len(n - 1)
	m <- matrix(0, n, n)
	m[cbind(i, i + 1)] <- m[cbind(i + 1, i)] <- i / sqrt(4 * i^2 - 1)
	e <- eigen(m, symmetric = TRUE)
	list(at = low + (e$values + 1) / 2 * (high - low), weight = e$vectors[1, ]^2 * (high - low))
}

# L(s) = 1 + L(0) P(back to 0 from s) + integral of L(t) f(t from s): solved at the nodes.
arl_cusum <- function(shift, k, h) {
	g <- gauss(80, 0, h)
	from <- c(0, g$at)
	step <- function(to) outer(from, to, function(s, t) dnorm(t - s + k - shift))
	m <- cbind(pnorm(k - shift - from), step(g$at) * rep(g$weight, each = length(from)))
	solve(diag(length(from)) - m, rep(1, length(from)))[1]
}

# One-sided, from the mean; what lies 12 of its own sigmas below is never reached.
arl_ewma <- function(shift, lambda, limit) {
	own <- sqrt(lambda / (2 - lambda))
	g <- gauss(300, -12 * own, limit * own)
	from <- c(0, g$at)
	m <- outer(from, g$at, function(s, t) dnorm((t - (1 - lambda) * s) / lambda - shift) / lambda)
	m <- cbind(0, m * rep(g$weight, each = length(from)))
	solve(diag(length(from)) - m, rep(1, length(from)))[1]
}

cases <- 10
shifts <- c(0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4)
table_of("arl", function() {
	shift <- shifts[1]
	shifts <<- shifts[-1]
	list(shift = shift, cusum_h4 = arl_cusum(shift, 0.5, 4), cusum_h5 = arl_cusum(shift, 0.5, 5),
	     ewma = arl_ewma(shift, 0.2, 3))
})
