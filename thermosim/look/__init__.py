"""look"""
