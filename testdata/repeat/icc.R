# Intraclass correlations by psych::ICC, as an outside answer to measure/repeat.
# usage: Rscript icc.R TABLE.csv        columns subject,rater,value; every subject by every rater, once
args <- commandArgs(trailingOnly = TRUE)
suppressMessages(library(psych))
d <- read.csv(args[1], colClasses = c("character", "character", "numeric"))
wide <- tapply(d$value, list(d$subject, d$rater), identity)
r <- ICC(wide, missing = FALSE, alpha = 0.05, lmer = FALSE, check.keys = FALSE)$results
cat(sprintf("# R %s.%s, psych %s\n", R.version$major, R.version$minor, packageVersion("psych")))
cat("type,icc,f,df1,df2,p,low,high\n")
for (i in seq_len(nrow(r)))
  cat(sprintf("%s,%.15g,%.15g,%d,%d,%.15g,%.15g,%.15g\n", r$type[i], r$ICC[i], r$F[i],
              as.integer(r$df1[i]), as.integer(r$df2[i]), r$p[i],
              r$`lower bound`[i], r$`upper bound`[i]))
