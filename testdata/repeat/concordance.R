# Lin's concordance by epiR::epi.ccc, as an outside answer to measure/repeat.
# usage: Rscript concordance.R pefr-1986.csv     columns subject,rater,replicate,value; first readings
args <- commandArgs(trailingOnly = TRUE)
suppressWarnings(suppressMessages(library(epiR)))
d <- read.csv(args[1]); one <- d[d$replicate == 1, ]
r <- epi.ccc(one$value[one$rater == "large"], one$value[one$rater == "mini"], ci = "z-transform", conf.level = 0.95)
cat(sprintf("# R %s.%s, epiR %s\nname,index,value\n", R.version$major, R.version$minor, packageVersion("epiR")))
for (i in 1:3) cat(sprintf("concordance,%d,%.15g\n", i, unlist(r$rho.c)[i]))
cat(sprintf("accuracy,1,%.15g\n", r$C.b))
