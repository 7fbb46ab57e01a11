"""Damage over time: the growth of one part, and how far it is from its limits."""

from damagescore.history.advice import ReinspectionRule, Suggestion, suggest
from damagescore.history.fit import Fit, NoFit, fit_growth
from damagescore.history.predict import Forecast, NoForecast, Prediction, predict
from damagescore.history.record import Axis, Point, Series

__all__ = [
    "Axis",
    "Fit",
    "Forecast",
    "NoFit",
    "NoForecast",
    "Point",
    "Prediction",
    "ReinspectionRule",
    "Series",
    "Suggestion",
    "fit_growth",
    "predict",
    "suggest",
]
