"""Averages, spreads and their intervals, and the models of noise behind them."""
