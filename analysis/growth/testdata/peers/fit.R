# Fits curves by R's nls, with and without derivatives.
#
# Reads rows curve,model,t,y from standard input; writes rows
# curve,way,seconds,rss,p...,se... . seconds is the mean of some repetitions.
args <- as.numeric(commandArgs(trailingOnly = TRUE))
start <- list(y0 = args[2], ymax = args[3], mu = args[4], lag = args[5])
rows <- read.csv(file("stdin"), header = FALSE, col.names = c("curve", "model", "t", "y"))
models <- list(
  gompertz = quote(y0 + (ymax - y0) * exp(-exp(mu * 2.718281828459045 / (ymax - y0) * (lag - t) + 1))),
  baranyi = quote(y0 + log((exp(-mu * lag) + (1 - exp(-mu * lag)) * exp(-mu * t)) /
    ((1 - exp(y0 - ymax)) * exp(-mu * t) + exp(y0 - ymax) * (exp(-mu * lag) + (1 - exp(-mu * lag)) * exp(-mu * t)))))
)
for (name in unique(rows$curve)) {
  d <- rows[rows$curve == name, ]
  plain <- models[[d$model[1]]]
  graded <- deriv(plain, names(start), function.arg = c("t", names(start)))
  ways <- list(
    derivatives = function() nls(y ~ graded(t, y0, ymax, mu, lag), d, start),
    differences = function() nls(eval(call("~", quote(y), plain)), d, start)
  )
  for (way in names(ways)) {
    fit <- ways[[way]]()
    n <- args[1]
    took <- system.time(for (i in seq_len(n)) ways[[way]]())[["elapsed"]] / n
    s <- summary(fit)$coefficients
    cat(name, way, took, sprintf("%.17g", c(deviance(fit), s[, 1], s[, 2])), sep = ",")
    cat("\n")
  }
}
