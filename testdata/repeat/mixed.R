# Variance components of unequal tables by lme4, as an outside answer to measure/repeat.
# usage: Rscript mixed.R TABLE.csv...      columns subject,rater,replicate,value; the interaction where at least
# three readings are repeats within a cell
suppressMessages(library(lme4))
cat(sprintf("# R %s.%s, lme4 %s\ntable,index,value\n", R.version$major, R.version$minor, packageVersion("lme4")))
for (f in commandArgs(trailingOnly = TRUE)) {
  d <- read.csv(f, colClasses = c("character", "character", "character", "numeric"))
  form <- value ~ 1 + (1 | subject) + (1 | rater)
  if (nrow(d) - nrow(unique(d[c("subject", "rater")])) >= 3) form <- update(form, . ~ . + (1 | subject:rater))
  m <- lmer(form, d, REML = TRUE, control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10), calc.derivs = FALSE))
  v <- as.data.frame(VarCorr(m))
  for (i in seq_len(nrow(v))) cat(sprintf("%s.%s,1,%.15g\n", sub("\\.csv$", "", f), v$grp[i], v$vcov[i]))
}
