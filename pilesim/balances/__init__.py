"""The balances: heat, oxygen, water, airflow, substrate and the surface exchange."""
