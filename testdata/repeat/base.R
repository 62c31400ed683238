# Agreement figures by R's own functions (base and stats only), as an outside answer to measure/repeat.
# usage: Rscript base.R pefr-1986.csv unequal.csv        columns subject,rater,replicate,value
args <- commandArgs(trailingOnly = TRUE)
read <- function(f) read.csv(f, colClasses = c("character", "character", "character", "numeric"))
put <- function(name, ...) for (i in seq_along(c(...))) cat(sprintf("%s,%d,%.15g\n", name, i, c(...)[i]))
cat(sprintf("# R %s.%s\nname,index,value\n", R.version$major, R.version$minor))

# First readings of the two meters: paired t, regression of difference on mean, SD with its chi-square interval.
d <- read(args[1]); one <- d[d$replicate == "1", ]
w <- tapply(one$value, list(as.integer(one$subject), one$rater), identity)
x <- w[, "large"]; y <- w[, "mini"]; e <- x - y; m <- (x + y) / 2; n <- length(e)
t <- t.test(x, y, paired = TRUE)
put("paired_t", t$estimate, t$conf.int, t$statistic, t$parameter, t$p.value)
l <- lm(e ~ m); s <- summary(l)$coefficients
put("slope", s["m", 1], confint(l)["m", ], s["m", 3], s["m", 4])
put("sd", sd(e), sd(e) * sqrt((n - 1) / qchisq(c(.975, .025), n - 1)))
put("exact_limits", mean(e) + sd(e) / sqrt(n) * c(-1, -1, 1, 1) *
  qt(c(.975, .025, .025, .975), n - 1, ncp = 1.96 * sqrt(n)))

# Noncentral t quantiles by stats::qt. Not for df 399: past ncp 37.62 pt itself turns to an approximation, 3e-4 off.
for (df in c(2, 5, 16, 84, 299)) for (p in c(.025, .5, .975))
  put(sprintf("qt_%g_%g", df, p), qt(p, df, ncp = 1.96 * sqrt(df + 1)))

# Replicates: two-way with interaction; one-way of each meter.
a <- anova(aov(value ~ subject * rater, data = transform(d, subject = factor(subject), rater = factor(rater))))
put("ms_replicates", a[["Mean Sq"]])
for (r in c("large", "mini")) put(paste0("ms_", r), anova(aov(value ~ factor(subject), data = d[d$rater == r, ]))[["Mean Sq"]])

# Unequal numbers: one-way mean squares, n0.
u <- read(args[2])
b <- anova(aov(value ~ factor(subject), data = u)); ni <- table(u$subject); N <- sum(ni)
put("ms_unequal", b[["Mean Sq"]]); put("n0_unequal", (N - sum(ni^2) / N) / (length(ni) - 1))

# Thomas & Hultquist's interval of ICC(1,1), by their formula on R's numbers: one-way of u.
h <- 1 / mean(1 / ni); f <- h * var(tapply(u$value, u$subject, mean)) / b[["Mean Sq"]][2]
theta <- (f / qf(c(.975, .025), length(ni) - 1, N - length(ni)) - 1) / h
put("thomas_hultquist", theta / (1 + theta))

# Limits from means of two replicates, by Bland & Altman's formula on R's numbers.
k <- tapply(d$value, list(as.integer(d$subject), d$rater), mean); e <- k[, "large"] - k[, "mini"]
w <- c(anova(aov(value ~ factor(subject), data = d[d$rater == "large", ]))[["Mean Sq"]][2],
       anova(aov(value ~ factor(subject), data = d[d$rater == "mini", ]))[["Mean Sq"]][2])
s2 <- var(e) + sum(w) / 2
v2 <- 2 * var(e)^2 / (n - 1) + sum(2 * (w / 2)^2 / n)     # of s2; n degrees of freedom within each meter
se <- sqrt(var(e) / n + 1.96^2 * v2 / (4 * s2))
up <- mean(e) + 1.96 * sqrt(s2)
put("replicate_limit", sqrt(s2), up, up - qt(.975, n - 1) * se, up + qt(.975, n - 1) * se)
