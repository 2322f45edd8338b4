# SPDX-License-Identifier: Apache-2.0
# Do two folders hold the same reference tables, to 1e-10?
#
#	Rscript tests/stats/compare.R KEPT FRESH
#
# Another release of R may differ in its last digits; ten times more is asked of it than of the program.

folders <- commandArgs(trailingOnly = TRUE)
if (length(folders) != 2 || !all(dir.exists(folders))) {
	cat("usage: Rscript compare.R KEPT FRESH\n", file = stderr())
	quit(status = 2)
}

lines_of <- function(folder, name) {
	path <- file.path(folder, name)
	if (file.exists(path)) readLines(path) else character()
}
numbers <- function(text) suppressWarnings(as.numeric(strsplit(text, "[ ,]")[[1]]))

same <- function(kept, fresh) {
	if (kept == fresh) return(TRUE)
	a <- numbers(kept)
	b <- numbers(fresh)
	length(a) == length(b) && identical(is.na(a), is.na(b)) &&
		all(is.na(a) | a == b | abs(a - b) <= 1e-10 * abs(a) + 1e-15)
}

failed <- 0
names <- sort(unique(list.files(folders, "[.]csv$")))
for (name in names) {
	kept <- lines_of(folders[1], name)
	fresh <- lines_of(folders[2], name)
	off <- if (length(kept) != length(fresh) || kept[1] != fresh[1]) 1
		else which(!mapply(same, kept, fresh, USE.NAMES = FALSE))
	if (length(off) == 0) next
	failed <- failed + 1
	cat(sprintf("%s:%d: kept %s\nfresh %s\n", name, off[1], kept[off[1]], fresh[off[1]]))
}
cat(sprintf("%d passed, %d failed\n", length(names) - failed, failed))
quit(status = if (failed > 0 || length(names) == 0) 1 else 0)
