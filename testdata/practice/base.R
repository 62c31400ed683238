# Figures of a set of readings by R's own functions, as an outside answer to measure/practice.
# usage: Rscript base.R readings.csv        columns site,sitting,value,truth
d <- read.csv(commandArgs(trailingOnly = TRUE)[1], colClasses = c("character", "character", "numeric", "numeric"))
put <- function(name, ...) for (i in seq_along(c(...))) cat(sprintf("%s,%d,%.15g\n", name, i, c(...)[i]))
cat(sprintf("# R %s.%s\nname,index,value\n", R.version$major, R.version$minor))

# Wilson's interval of a share: the score interval without continuity correction.
for (n in c(1, 5, 20, 40, 200)) for (k in unique(c(0, 1, n %/% 2, n)))
  put(sprintf("wilson_%d_%d", k, n), suppressWarnings(prop.test(k, n, correct = FALSE))$conf.int)

# Bias and SD of the readings against truth, limits of agreement.
e <- d$value - d$truth; n <- length(e)
put("bias", mean(e), t.test(e)$conf.int)
put("sd", sd(e), sd(e) * sqrt((n - 1) / qchisq(c(.975, .025), n - 1)))
put("limits", mean(e) + c(-1.96, 1.96) * sd(e))

# Dahlberg's error of the errors of two sittings, with its interval from n pairs.
w <- reshape(data.frame(site = d$site, sitting = d$sitting, e = e), idvar = "site", timevar = "sitting", direction = "wide")
diff <- w$e.1 - w$e.2; m <- length(diff)
put("dahlberg", sqrt(sum(diff^2) / (2 * m)), sqrt(sum(diff^2) / (2 * qchisq(c(.975, .025), m))))

# Proportional bias against the reference: the error over the truth.
l <- lm(e ~ d$truth); s <- summary(l)$coefficients
put("slope", s[2, 1], confint(l)[2, ], s[2, 4])
