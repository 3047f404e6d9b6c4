"""The operators' pages, the live feed and the HTTP API. Holds no formulas and speaks no Modbus."""
