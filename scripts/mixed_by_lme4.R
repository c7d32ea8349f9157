# Linear mixed models of published data sets by general statistics libraries, to hold `backwatt_stats::mixed` against.
#
# Writes fixtures/mixed/*.json: rows, and what lme4 (fit), pbkrtest (Kenward-Roger) and lmerTest (Satterthwaite) find.
# Run `Rscript scripts/mixed_by_lme4.R` in the repository with R 4.2.2, lme4 1.1-31, pbkrtest 0.5.2, lmerTest 3.1-3,
# MASS 7.3-58, nlme 3.1-162, jsonlite 1.8.4.
#
# lme4: Bates, Maechler, Bolker, Walker (2015), Journal of Statistical Software 67(1). pbkrtest: Halekoh, Hojsgaard
# (2014), Journal of Statistical Software 59(9).

suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(MASS); library(jsonlite)})

tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10),
                     check.conv.singular = "ignore")

one <- function(name, source, formula, data, weights = NULL) {
  data$w <- if (is.null(weights)) rep(1, nrow(data)) else weights
  fit <- lmerTest::lmer(formula, data = data, weights = w, control = tight)
  plain <- as(fit, "lmerMod")
  groups <- names(getME(plain, "flist"))
  varcorr <- as.data.frame(VarCorr(plain))
  x <- getME(plain, "X")
  re <- ranef(plain, condVar = TRUE)
  adjusted <- if (is.null(weights)) vcovAdj(plain)
  contrasts <- lapply(seq_len(ncol(x)), function(i) {
    l <- as.numeric(seq_len(ncol(x)) == i)
    kr <- if (is.null(weights)) lmerTest::contest1D(fit, l, ddf = "Kenward-Roger")
    found <- list(estimate = unname(fixef(plain)[i]), se = sqrt(vcov(plain)[i, i]),
         degrees_satterthwaite = lmerTest::contest1D(fit, l, ddf = "Satterthwaite")[["df"]])
    # pbkrtest 0.5.2 takes every row of the same weight.
    if (is.null(weights)) c(found, list(se_adjusted = sqrt(adjusted[i, i]), degrees = kr[["df"]])) else found
  })
  out <- list(
    name = name, source = source,
    response = unname(model.response(model.frame(plain))),
    fixed = unname(lapply(seq_len(ncol(x)), function(i) unname(x[, i]))),
    weights = data$w,
    groups = lapply(groups, function(g) list(name = g, row = as.integer(getME(plain, "flist")[[g]]) - 1L)),
    variance = lapply(groups, function(g) varcorr$vcov[varcorr$grp == g]),
    residual = sigma(plain)^2,
    reml = REMLcrit(plain),
    contrasts = contrasts,
    effects = lapply(groups, function(g) unname(re[[g]][, 1])))
  write_json(out, file.path("fixtures/mixed", paste0(name, ".json")), digits = 10, auto_unbox = TRUE)
}

davies <- "Davies, Goldsmith (1972), Statistical Methods in Research and Production, 4th ed."
one("dyestuff", paste(davies, "table 6.1"), Yield ~ 1 + (1 | Batch), Dyestuff)
one("dyestuff2", "Box, Tiao (1973), Bayesian Inference in Statistical Analysis, table 5.1.4: a variance at its bound",
    Yield ~ 1 + (1 | Batch), Dyestuff2)
one("penicillin", paste(davies, "table 6.6"), diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin)
# Every seventh row and every row of an odd plate with sample B or E is left out.
kept <- with(Penicillin, seq_along(diameter) %% 7 != 0 & !(as.integer(plate) %% 2 == 1 & sample %in% c("B", "E")))
few <- droplevels(Penicillin[kept, ])
few$late <- as.numeric(as.integer(few$plate) > 9) + seq_len(nrow(few)) %% 5 / 10
one("unbalanced", paste(davies, "table 6.6, thinned"), diameter ~ late + (1 | plate) + (1 | sample), few)
one("weighted", "the same, rows weighed 2, 3, 1, 2 ..", diameter ~ late + (1 | plate) + (1 | sample), few,
    weights = seq_len(nrow(few)) %% 3 + 1)
one("oats", "Yates (1935), Journal of the Royal Statistical Society, supplement 2, 181: split plot",
    Y ~ N + (1 | B) + (1 | B:V), transform(MASS::oats, N = as.numeric(sub("cwt", "", N))))
one("ergometer", "Pinheiro, Bates (2000), Mixed-Effects Models in S and S-PLUS, section 1.2",
    effort ~ Type + (1 | Subject), as.data.frame(nlme::ergoStool))
one("sleepstudy", "Belenky et al. (2003), Journal of Sleep Research 12, 1; intercepts alone",
    Reaction ~ Days + (1 | Subject), sleepstudy)
cat(R.version.string, sapply(c("lme4", "pbkrtest", "lmerTest", "MASS", "nlme", "jsonlite"),
    function(p) paste(p, packageVersion(p))), sep = "\n")
